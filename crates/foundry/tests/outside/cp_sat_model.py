"""The planning problem as a constraint model for OR-Tools CP-SAT; used by cp_sat.py.

A load is named by its leader: the member whose programme it runs (rule 6). Each flask leads a load
or joins that of another, so loads need no numbers that could be exchanged, their programmes and
ramps have fixed lengths, and a flask that cannot share with a leader never meets it. Beyond the
bare problem: not_before_min, pins, stability, dear hours, wetting, times out of use, bans, kilns
that take longer; loads under way are not modelled.
"""

import itertools
import threading
import time

from ortools.sat.python import cp_model

from cp_sat_floor import floor_table

THREADS = 2
DAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def starts(problem, minutes, until):
    """Intervals of minutes at which a task that needs staff may start."""
    closed = set(problem["calendar"]["closed_days"])
    found = []
    for day in range(until // 1440 + 1):
        if day in closed:
            continue
        for low, high in problem["calendar"]["week"].get(DAYS[day % 7], []):
            first, last = day * 1440 + low, min(day * 1440 + high, until) - minutes
            if last >= first:
                found.append([first, last])
    return found


def first_from(windows, minute):
    """The first minute from this one on that lies in a window; none when there is none."""
    return next((max(low, minute) for low, high in windows if high >= minute), None)


class Model:
    """Variables and rules; `goals` in the order in which they count.

    What stands together on a floor in one of some plans is taken to fit, besides what was found.
    """

    def __init__(self, problem, plans=()):
        self.plans = plans
        assert not problem.get("decisions", {}).get("under_way"), "loads under way are not modelled"
        self.problem = problem
        self.decisions = problem.get("decisions", {})
        self.model = cp_model.CpModel()
        self.flasks, self.kilns = problem["flasks"], problem["kilns"]
        self.number = range(len(self.flasks))
        self.now = self.decisions.get("not_before_min", 0)
        horizon = problem["horizon_min"]
        self.load_windows = starts(problem, problem["load_min"], horizon)
        self.pour_windows = starts(problem, problem["pour_min"], horizon)
        self._programmes()
        self._windows()
        self._members()
        self._floors()
        self._loads()
        self._pours()
        self._furnace()
        self._decisions()
        self._goals()

    def _programmes(self):
        ranked = sorted(
            (sum(m for _, m in p["segments"]), family["id"], size, p["segments"])
            for family in self.problem["families"]
            for size, p in family["programmes"].items()
        )
        rank_of = {(family, size): r for r, (_, family, size, _) in enumerate(ranked)}
        self.rank = [rank_of[f["family"], f["size_class"]] for f in self.flasks]
        self.minutes = [ranked[r][0] for r in self.rank]
        self.segments = [ranked[r][3] for r in self.rank]
        # By how much each kiln takes longer for the programme of each flask.
        longer = {
            (one["kiln"], one["family"], one["size_class"]): one["minutes"]
            for one in self.decisions.get("longer", [])
        }
        self.longer = [
            [longer.get((kiln["id"], f["family"], f["size_class"]), 0) for kiln in self.kilns]
            for f in self.flasks
        ]

    def _as_run(self, lead, k):
        """The segments of a leader's programme in a kiln: the last ramp is longer."""
        segments = [list(segment) for segment in self.segments[lead]]
        ramps = [segment for segment in segments if segment[0] == "ramp"]
        if ramps:
            ramps[-1][1] += self.longer[lead][k]
        else:
            segments.append(["hold", self.longer[lead][k]])
        return segments

    def _burn(self, lead):
        """How long a leader's programme takes in the kiln that its load is in."""
        kilns = range(len(self.kilns))
        return self.minutes[lead] + sum(
            self.longer[lead][k] * self.load_in[lead, k] for k in kilns if (lead, k) in self.load_in
        )

    def _windows(self):
        horizon = self.problem["horizon_min"]
        rewet = {one["flask"]: one for one in self.decisions.get("rewet", [])}
        self.ready = [max(f["ready_min"], self.now) for f in self.flasks]
        self.latest = []
        for f in self.flasks:
            latest = f.get("latest_start_min")
            until = rewet[f["id"]]["until_min"] if f["id"] in rewet else latest
            self.latest.append(horizon if until is None else until)

    def _fitting_kilns(self, i):
        flask, top = self.flasks[i], self.problem["clearance"]["top_mm"]
        bans = [
            b["kiln"]
            for b in self.decisions.get("bans", [])
            if b.get("until_min") is None and b.get("flask") in (None, flask["id"])
        ]
        return [
            k
            for k, kiln in enumerate(self.kilns)
            if flask["height_mm"] + top <= kiln["height_mm"] and kiln["id"] not in bans
        ]

    def _members(self):
        """Who may be with whom; leader and kiln of each flask."""
        model, number = self.model, self.number
        bad = {frozenset(pair) for pair in self.problem["incompatible"]}
        fitting = [set(self._fitting_kilns(i)) for i in number]

        def may_share(a, b):
            families = frozenset((self.flasks[a]["family"], self.flasks[b]["family"]))
            together = max(self.ready[a], self.ready[b]) <= min(self.latest[a], self.latest[b])
            return families not in bad and together and bool(fitting[a] & fitting[b])

        def leads(lead, i):
            return (self.rank[i], i) <= (self.rank[lead], lead)

        self.x = {(i, i): model.new_bool_var(f"leads{i}") for i in number}
        for lead, i in itertools.permutations(number, 2):
            if leads(lead, i) and may_share(i, lead):
                self.x[i, lead] = model.new_bool_var(f"in{i}.{lead}")
                model.add_implication(self.x[i, lead], self.x[lead, lead])
        for i in number:
            model.add_exactly_one(self.x[i, lead] for lead in number if (i, lead) in self.x)
        self.at = {(i, k): model.new_bool_var(f"at{i}.{k}") for i in number for k in fitting[i]}
        for i in number:
            model.add_exactly_one(self.at[i, k] for k in fitting[i])
        self.members = {
            lead: [i for i in number if (i, lead) in self.x] for lead in number
        }
        for lead in number:
            for i in self.members[lead]:
                for k in range(len(self.kilns)):
                    # Both in the kiln or neither.
                    pair = [self.at.get((one, k)) for one in (i, lead)]
                    if i == lead:
                        continue
                    for here, there in (pair, pair[::-1]):
                        if here is not None:
                            rest = [] if there is None else [there]
                            model.add_bool_or([self.x[i, lead].negated(), here.negated(), *rest])
        self.same = {}
        for a, b in itertools.combinations(number, 2):
            shared = [lead for lead in number if (a, lead) in self.x and (b, lead) in self.x]
            if may_share(a, b) and shared:
                same = self.same[a, b] = model.new_bool_var(f"same{a}.{b}")
                for lead in shared:
                    both = [self.x[a, lead].negated(), self.x[b, lead].negated(), same]
                    model.add_bool_or(both)
                    model.add_bool_or([self.x[a, lead].negated(), same.negated(), self.x[b, lead]])
                    model.add_bool_or([self.x[b, lead].negated(), same.negated(), self.x[a, lead]])
            else:
                for lead in shared:
                    model.add_at_most_one(self.x[a, lead], self.x[b, lead])
        self._alike_kilns()

    def _alike_kilns(self):
        """Of kilns alike in everything the first flask goes into the first."""
        keys = [{k: v for k, v in kiln.items() if k != "id"} for kiln in self.kilns]
        if any(self.decisions.get(key) for key in ("pins", "stability", "out_of_use", "bans", "longer")):
            return
        for k in range(len(self.kilns)):
            if keys[k] in keys[:k] and (0, k) in self.at:
                self.model.add(self.at[0, k] == 0)

    def _floors(self):
        model = self.model
        sizes = sorted({f["diameter_mm"] for f in self.flasks})
        size = [sizes.index(f["diameter_mm"]) for f in self.flasks]
        most = [size.count(n) for n in range(len(sizes))]
        clearance = self.problem["clearance"]
        tables = [floor_table(kiln, sizes, most, clearance) for kiln in self.kilns]
        size_of = dict(zip((f["id"] for f in self.flasks), size))
        for load in (load for plan in self.plans for load in plan["loads"]):
            there = [size_of[one["id"]] for one in load["flasks"]]
            here = next(kiln for kiln in self.kilns if kiln["id"] == load["kiln"])
            sides = (here["width_mm"], here["depth_mm"])
            for kiln, table in zip(self.kilns, tables):
                if (kiln["width_mm"], kiln["depth_mm"]) == sides:
                    counts = [range(there.count(n) + 1) for n in range(len(sizes))]
                    table += [row for row in itertools.product(*counts) if row not in table]
        self.load_in = {}
        for lead in self.number:
            leads = self.x[lead, lead]
            here = {}
            for k in range(len(self.kilns)):
                if (lead, k) not in self.at:
                    continue
                here[k] = model.new_bool_var(f"load{lead}.{k}")
                model.add_bool_and([leads, self.at[lead, k]]).only_enforce_if(here[k])
                model.add_bool_or([leads.negated(), self.at[lead, k].negated(), here[k]])
            self.load_in.update({(lead, k): v for k, v in here.items()})
            counts, kiln_no = [], model.new_int_var(0, len(self.kilns), f"kiln{lead}")
            nowhere = len(self.kilns)
            model.add(kiln_no == nowhere + sum((k - nowhere) * v for k, v in here.items()))
            for n in range(len(sizes)):
                of_size = [self.x[i, lead] for i in self.members[lead] if size[i] == n]
                count = model.new_int_var(0, len(of_size), f"count{n}.{lead}")
                model.add(count == sum(of_size))
                counts.append(count)
                # The same again, as a linear relaxation sees it: of this size and larger.
                larger = [self.x[i, lead] for i in self.members[lead] if size[i] >= n]
                room = [max((sum(row[n:]) for row in table), default=0) for table in tables]
                model.add(sum(larger) <= sum(room[k] * v for k, v in here.items()))
            rows = [(k, *row) for k in here for row in tables[k]]
            rows.append((nowhere, *([0] * len(sizes))))
            model.add_allowed_assignments([kiln_no, *counts], rows)

    def _loads(self):
        """Starts, ends of burnout, stays in kilns, ramps."""
        model, problem = self.model, self.problem
        horizon, pour = problem["horizon_min"], problem["pour_min"]
        domain = cp_model.Domain.from_intervals(self.load_windows)
        self.start, self.over, ramps = [], [], []
        stays = {k: [] for k in range(len(self.kilns))}
        for lead in self.number:
            window = cp_model.Domain(self.ready[lead], min(self.latest[lead], horizon))
            possible = domain.intersection_with(window)
            if possible.is_empty():
                # It has no start of its own and leads no load.
                model.add(self.x[lead, lead] == 0)
                possible = domain
            start = model.new_int_var_from_domain(possible, f"start{lead}")
            over = model.new_int_var(0, horizon, f"over{lead}")
            self.start.append(start)
            self.over.append(over)
            for i in self.members[lead]:
                inside = self.x[i, lead]
                model.add(start >= self.ready[i]).only_enforce_if(inside)
                model.add(start <= self.latest[i]).only_enforce_if(inside)
            for k, kiln in enumerate(self.kilns):
                if (lead, k) not in self.load_in:
                    continue
                here, turn = self.load_in[lead, k], kiln["turnaround_min"]
                at = problem["load_min"]
                for kind, minutes in self._as_run(lead, k):
                    if kind == "ramp" and minutes:
                        ramps.append(
                            model.new_optional_fixed_size_interval_var(
                                start + at, minutes, here, f"ramp{lead}.{k}.{at}"
                            )
                        )
                    at += minutes
                least = at + pour
                model.add(start >= kiln["available_min"]).only_enforce_if(here)
                length = model.new_int_var(least + turn, horizon + turn, f"stay{lead}.{k}")
                stays[k].append(
                    model.new_optional_interval_var(
                        start, length, over + turn, here, f"stays{lead}.{k}"
                    )
                )
        for k in stays:
            model.add_no_overlap(stays[k])
        if problem["ramp_limit"] < len(self.kilns):
            model.add_cumulative(ramps, [1] * len(ramps), problem["ramp_limit"])

    def _pours(self):
        model, problem = self.model, self.problem
        pour, hold = problem["pour_min"], problem["max_hold_min"]
        domain = cp_model.Domain.from_intervals(self.pour_windows)
        self.pour = []
        for i in self.number:
            loaded = first_from(self.load_windows, self.ready[i])
            least = 0 if loaded is None else loaded + problem["load_min"] + self.minutes[i]
            window = cp_model.Domain(max(least, self.now), problem["horizon_min"])
            possible = domain.intersection_with(window)
            self.pour.append(model.new_int_var_from_domain(possible, f"pour{i}"))
        self.first = []
        for lead in self.number:
            end = self.start[lead] + problem["load_min"] + self._burn(lead)
            first = model.new_int_var_from_domain(domain, f"first{lead}")
            self.first.append(first)
            soon = []
            for i in self.members[lead]:
                inside, at = self.x[i, lead], self.pour[i]
                model.add(at >= end).only_enforce_if(inside)
                model.add(at >= first).only_enforce_if(inside)
                model.add(at <= first + problem["max_pour_span_min"]).only_enforce_if(inside)
                model.add(self.over[lead] >= at + pour).only_enforce_if(inside)
                in_hold = model.new_bool_var(f"soon{i}.{lead}")
                model.add_implication(in_hold, inside)
                model.add(at <= end + hold).only_enforce_if(in_hold)
                soon.append(in_hold)
            model.add_bool_or(soon).only_enforce_if(self.x[lead, lead])
        for (a, b), same in self.same.items():
            colder = self.flasks[a]["cast_temp_c"] - self.flasks[b]["cast_temp_c"]
            if colder == 0:
                continue
            hot, cold = (a, b) if colder > 0 else (b, a)
            for k, kiln in enumerate(self.kilns):
                if (hot, k) in self.at:
                    wait = pour + -(-abs(colder) * kiln["cool_min_per_100c"] // 100)
                    model.add(self.pour[cold] >= self.pour[hot] + wait).only_enforce_if(
                        same, self.at[hot, k]
                    )

    def _furnace(self):
        model, pour = self.model, self.problem["pour_min"]
        model.add_no_overlap(
            model.new_fixed_size_interval_var(at, pour, f"pours{i}")
            for i, at in enumerate(self.pour)
        )
        for a, b in itertools.combinations(self.number, 2):
            if self.flasks[a]["alloy"] == self.flasks[b]["alloy"]:
                continue
            gap = pour + self.problem["alloy_change_min"]
            order = model.new_bool_var(f"order{a}.{b}")
            model.add(self.pour[b] >= self.pour[a] + gap).only_enforce_if(order)
            model.add(self.pour[a] >= self.pour[b] + gap).only_enforce_if(order.negated())

    def _decisions(self):
        """Pins, times out of use, bans; what else counts is added up in `extra`."""
        model, given = self.model, self.decisions
        flask_no = {f["id"]: i for i, f in enumerate(self.flasks)}
        kiln_no = {kiln["id"]: k for k, kiln in enumerate(self.kilns)}
        self.extra = []

        def stands(i, kiln, minute, *when):
            """A flask's load is in a kiln and starts at a minute."""
            here = self.at.get((i, kiln))
            model.add_bool_or([here] if here is not None else []).only_enforce_if(*when)
            for lead in self.number:
                if (i, lead) in self.x:
                    model.add(self.start[lead] == minute).only_enforce_if(*when, self.x[i, lead])

        true, false = model.new_constant(1), model.new_constant(0)
        for pin in given.get("pins", []):
            i = flask_no[pin["flask"]]
            if "with" in pin:
                other = flask_no[pin["with"]]
                for lead in self.number:
                    one, two = (self.x.get((n, lead), false) for n in (i, other))
                    model.add(one == two)
            else:
                stands(i, kiln_no[pin["kiln"]], pin["start_min"], true)
        for (lead, k), here in self.load_in.items():
            for out in given.get("out_of_use", []):
                if kiln_no[out["kiln"]] == k:
                    before = model.new_bool_var("")
                    model.add(self.over[lead] <= out["from_min"]).only_enforce_if(here, before)
                    model.add(self.start[lead] >= out["to_min"]).only_enforce_if(
                        here, before.negated()
                    )
        for ban in given.get("bans", []):
            for (i, lead), inside in self.x.items():
                named = ban.get("flask") in (None, self.flasks[i]["id"])
                here = self.load_in.get((lead, kiln_no[ban["kiln"]]))
                if named and here is not None and ban.get("until_min") is not None:
                    model.add(self.start[lead] >= ban["until_min"]).only_enforce_if(inside, here)
        stability = given.get("stability") or {"accepted": [], "minutes_per_move": 0}
        for one in stability["accepted"]:
            i, stays = flask_no[one["flask"]], model.new_bool_var("")
            stands(i, kiln_no[one["kiln"]], one["start_min"], stays)
            self.extra.append(stability["minutes_per_move"] * (1 - stays))
        for one in given.get("rewet", []):
            i, wetted = flask_no[one["flask"]], model.new_bool_var("")
            latest = self.flasks[i].get("latest_start_min")
            for lead in self.number:
                if latest is not None and (i, lead) in self.x:
                    model.add(self.start[lead] <= latest).only_enforce_if(
                        self.x[i, lead], wetted.negated()
                    )
            self.extra.append(one["minutes"] * wetted)
        if given.get("dear_hours"):
            for lead, k in self.load_in:
                self._dear(lead, k)

    def _dear(self, lead, k):
        """What the ramps of a load in a kiln count, minute by minute of its start."""
        rate = [0] * (7 * 1440)
        for dear in self.decisions["dear_hours"]:
            for minute in range(dear["from_min"], dear["to_min"]):
                rate[minute] += dear["minutes_per_hour"]
        ramping, at = [], self.problem["load_min"]
        for kind, minutes in self._as_run(lead, k):
            ramping += range(at, at + minutes) if kind == "ramp" else []
            at += minutes
        week = [
            sum(rate[(minute + m) % len(rate)] for m in ramping) // 60 for minute in range(len(rate))
        ]
        horizon = self.problem["horizon_min"]
        counts = self.model.new_int_var(0, max(week), "")
        self.model.add_element(
            self.start[lead], [week[m % len(week)] for m in range(horizon + 1)], counts
        )
        counted = self.model.new_int_var(0, max(week), "")
        self.model.add(counted >= counts).only_enforce_if(self.load_in[lead, k])
        self.extra.append(counted)

    def _goals(self):
        model, pour, horizon = self.model, self.problem["pour_min"], self.problem["horizon_min"]
        late = []
        for i, flask in enumerate(self.flasks):
            after = pour + flask["lead_min"] - flask["due_min"]
            var = model.new_int_var(0, horizon + flask["lead_min"], f"late{i}")
            model.add(var >= self.pour[i] + after)
            late.append(flask["weight"] * var)
        makespan = model.new_int_var(0, horizon, "makespan")
        model.add_max_equality(makespan, [at + pour for at in self.pour])
        loads = [self.x[lead, lead] for lead in self.number]
        self.goals = [sum(late) + sum(self.extra), sum(loads), makespan]

    def hint(self, plan):
        """Begins from a plan in the planner's written form."""
        flask_no = {f["id"]: i for i, f in enumerate(self.flasks)}
        kiln_no = {kiln["id"]: k for k, kiln in enumerate(self.kilns)}
        add = self.model.add_hint
        for one in plan["pours"]:
            add(self.pour[flask_no[one["flask"]]], one["start_min"])
        for load in plan["loads"]:
            members = [flask_no[one["id"]] for one in load["flasks"]]
            lead = max(members, key=lambda i: (self.rank[i], i))
            add(self.start[lead], load["start_min"])
            for i in members:
                for other in self.number:
                    if (i, other) in self.x:
                        add(self.x[i, other], int(other == lead))
                for k in range(len(self.kilns)):
                    if (i, k) in self.at:
                        add(self.at[i, k], int(k == kiln_no[load["kiln"]]))

    def solve(self, seconds, while_proved=False):
        """Value of each goal in turn, how many of them are proved least, and seconds used.

        `seconds` has the time for each goal, as if two cores were free: a search ends when it
        has had so much of the processor on all its threads, and after four times as long
        whatever it had. What a goal leaves of its time is given to the next. `while_proved` ends
        with the first goal that is not proved.
        """
        values, proved, left, used = [], 0, 0.0, 0.0
        self.bounds = []
        for goal, own in zip(self.goals, seconds):
            left += own
            solver = cp_model.CpSolver()
            solver.parameters.max_time_in_seconds = 4 * left
            solver.parameters.num_workers = THREADS
            self.model.minimize(goal)
            begun = time.process_time()
            done = threading.Event()
            watch = threading.Thread(target=_stop_after, args=(solver, left, begun, done))
            watch.start()
            status = solver.solve(self.model)
            done.set()
            watch.join()
            spent = (time.process_time() - begun) / THREADS
            left, used = max(left - spent, 0.0), used + spent
            if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                return None, int(status == cp_model.INFEASIBLE), used
            proved += int(status == cp_model.OPTIMAL and proved == len(values))
            value = round(solver.objective_value)
            values.append(value)
            self.bounds.append(round(solver.best_objective_bound))
            if while_proved and proved < len(values):
                break
            self.model.clear_hints()
            for index, one in enumerate(solver.response_proto.solution):
                self.model.add_hint(self.model.get_int_var_from_proto_index(index), one)
            self.model.clear_objective()
            self.model.add(goal <= value)
        return values, proved, used


def _stop_after(solver, seconds, begun, done):
    while not done.wait(0.1):
        if time.process_time() - begun >= seconds * THREADS:
            solver.stop_search()
