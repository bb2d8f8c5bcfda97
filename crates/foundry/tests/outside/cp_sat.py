"""Solves planning problems with a general constraint solver, for comparison.

Needs ortools (tried with 9.15) and scipy (1.17). The model follows the rules of
the planning problem and shares nothing with the planner. Which flasks fit on
a floor is asked of an own search for places (multistart minimisation of the
overlaps with L-BFGS); a set for which none is found counts as not fitting.

    cp_sat.py optima PLAN_INSTANCES SECONDS OUT.csv SEED FLASKS KILNS [...]
        solves generated problems (PLAN_INSTANCES is the example of that name)
        and appends one line for each to OUT.csv
    cp_sat.py solve INSTANCE.json SECONDS
        solves one problem and prints what was found
    cp_sat.py beside POURDAY OWN_SECONDS SECONDS INSTANCE.json [...]
        plans each problem with `pourday plan` and with this solver, one after the other on the
        same machine, and prints tardiness, loads and makespan of both, and the planner's bound
"""

import itertools
import json
import math
import random
import subprocess
import sys

from ortools.sat.python import cp_model
from scipy.optimize import minimize

THREADS = 2


def fits(diameters, kiln, clearance, tries=40):
    """Whether places for circles were found on the floor of a kiln."""
    gap, wall = clearance["flask_mm"], clearance["wall_mm"]
    radii = [d / 2 for d in diameters]
    count = len(radii)
    box = []
    for side in ("width_mm", "depth_mm"):
        box.append([(r + wall, kiln[side] - r - wall) for r in radii])
    if any(low > high for axis in box for low, high in axis):
        return False
    if count == 1:
        return True
    pairs = list(itertools.combinations(range(count), 2))

    def overlap(z):
        total, slope = 0.0, [0.0] * (2 * count)
        for a, b in pairs:
            dx, dy = z[a] - z[b], z[count + a] - z[count + b]
            far = math.hypot(dx, dy) or 1e-9
            lack = radii[a] + radii[b] + gap + 1e-7 - far
            if lack > 0:
                total += lack * lack
                push = -2 * lack / far
                slope[a] += push * dx
                slope[b] -= push * dx
                slope[count + a] += push * dy
                slope[count + b] -= push * dy
        return total, slope

    bounds = box[0] + box[1]
    dice = random.Random(repr(sorted(diameters)))
    for _ in range(tries):
        start = [dice.uniform(low, high) for low, high in bounds]
        found = minimize(overlap, start, jac=True, method="L-BFGS-B", bounds=bounds)
        if found.fun < 1e-9:
            return True
    return False


def floor_table(kiln, sizes, most, clearance):
    """All counts of flasks by size that fit, as tuples."""
    table, known = [], {}
    for counts in itertools.product(*(range(m + 1) for m in most)):
        smaller = [
            counts[:i] + (counts[i] - 1,) + counts[i + 1 :] for i in range(len(counts)) if counts[i]
        ]
        if not all(known[s] for s in smaller):
            known[counts] = False
            continue
        known[counts] = fits(
            [d for d, n in zip(sizes, counts) for _ in range(n)], kiln, clearance
        ) if sum(counts) else True
        if known[counts]:
            table.append(counts)
    return table


def starts(problem, minutes, until):
    """Intervals of minutes at which a task that needs staff may start."""
    days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
    closed = set(problem["calendar"]["closed_days"])
    found = []
    for day in range(until // 1440 + 1):
        if day in closed:
            continue
        for low, high in problem["calendar"]["week"].get(days[day % 7], []):
            first, last = day * 1440 + low, min(day * 1440 + high, until) - minutes
            if last >= first:
                found.append([first, last])
    return found


class Model:
    """The planning problem as a constraint model."""

    def __init__(self, problem, most_loads):
        self.problem = problem
        self.model = model = cp_model.CpModel()
        self.flasks, kilns = problem["flasks"], problem["kilns"]
        horizon, pour = problem["horizon_min"], problem["pour_min"]
        load_min = problem["load_min"]
        clearance = problem["clearance"]
        pour_starts = cp_model.Domain.from_intervals(starts(problem, pour, horizon))
        load_starts = cp_model.Domain.from_intervals(starts(problem, load_min, horizon))
        ranked = sorted(
            (sum(m for _, m in p["segments"]), family["id"], size, p["segments"])
            for family in problem["families"]
            for size, p in family["programmes"].items()
        )
        rank_of = {(family, size): r for r, (_, family, size, _) in enumerate(ranked)}
        rank = [rank_of[f["family"], f["size_class"]] for f in self.flasks]
        number = range(len(self.flasks))
        self.pour = [model.new_int_var_from_domain(pour_starts, f"pour{i}") for i in number]
        bad = {frozenset(pair) for pair in problem["incompatible"]}
        sizes = sorted({f["diameter_mm"] for f in self.flasks})
        most = [sum(f["diameter_mm"] == d for f in self.flasks) for d in sizes]
        x = {i: [] for i in number}
        self.used, ramps = [], []
        self.member = {}
        for k, kiln in enumerate(kilns):
            table = floor_table(kiln, sizes, most, clearance)
            previous = None
            for j in range(most_loads):
                name = f"{k}.{j}"
                used = model.new_bool_var("used" + name)
                self.used.append(used)
                start = model.new_int_var_from_domain(load_starts, "start" + name)
                inside = [model.new_bool_var(f"in{i}.{name}") for i in number]
                for i in number:
                    x[i].append(inside[i])
                    self.member[i, k, j] = inside[i]
                    model.add_implication(inside[i], used)
                    flask = self.flasks[i]
                    if flask["height_mm"] + clearance["top_mm"] > kiln["height_mm"]:
                        model.add(inside[i] == 0)
                    early = max(flask["ready_min"], kiln["available_min"])
                    model.add(start >= early).only_enforce_if(inside[i])
                    if flask.get("latest_start_min") is not None:
                        model.add(start <= flask["latest_start_min"]).only_enforce_if(inside[i])
                model.add_bool_or(inside).only_enforce_if(used)
                counts = []
                for d, m in zip(sizes, most):
                    count = model.new_int_var(0, m, f"count{d}.{name}")
                    model.add(
                        count == sum(inside[i] for i in number if self.flasks[i]["diameter_mm"] == d)
                    )
                    counts.append(count)
                model.add_allowed_assignments(counts, table)
                for a, b in itertools.combinations(number, 2):
                    if frozenset((self.flasks[a]["family"], self.flasks[b]["family"])) in bad:
                        model.add_bool_or([inside[a].negated(), inside[b].negated()])
                # The programme is that of the member of the greatest rank.
                runs = [model.new_bool_var(f"runs{r}.{name}") for r in range(len(ranked))]
                model.add(sum(runs) == used)
                for r in range(len(ranked)):
                    fitting = [inside[i] for i in number if rank[i] == r]
                    model.add_bool_or(fitting).only_enforce_if(runs[r])
                    for i in number:
                        if rank[i] > r:
                            model.add_implication(inside[i], runs[r].negated())
                end = start + load_min + sum(ranked[r][0] * runs[r] for r in range(len(ranked)))
                for r, (_, _, _, segments) in enumerate(ranked):
                    at = load_min
                    for kind, minutes in segments:
                        if kind == "ramp" and minutes:
                            ramps.append(
                                model.new_optional_fixed_size_interval_var(
                                    start + at, minutes, runs[r], f"ramp{r}.{at}.{name}"
                                )
                            )
                        at += minutes
                first = model.new_int_var_from_domain(pour_starts, "first" + name)
                is_first = [model.new_bool_var(f"first{i}.{name}") for i in number]
                model.add(sum(is_first) == used)
                model.add(first >= end).only_enforce_if(used)
                model.add(first <= end + problem["max_hold_min"]).only_enforce_if(used)
                for i in number:
                    model.add_implication(is_first[i], inside[i])
                    model.add(self.pour[i] == first).only_enforce_if(is_first[i])
                    model.add(self.pour[i] >= first).only_enforce_if(inside[i])
                    model.add(
                        self.pour[i] <= first + problem["max_pour_span_min"]
                    ).only_enforce_if(inside[i])
                for a, b in itertools.permutations(number, 2):
                    colder = self.flasks[a]["cast_temp_c"] - self.flasks[b]["cast_temp_c"]
                    if colder > 0:
                        wait = pour + -(-colder * kiln["cool_min_per_100c"] // 100)
                        model.add(self.pour[b] >= self.pour[a] + wait).only_enforce_if(
                            inside[a], inside[b]
                        )
                if previous:
                    last_used, last_inside, last_start = previous
                    model.add_implication(used, last_used)
                    model.add(start >= last_start).only_enforce_if(used)
                    for i in number:
                        model.add(
                            start >= self.pour[i] + pour + kiln["turnaround_min"]
                        ).only_enforce_if(used, last_inside[i])
                previous = (used, inside, start)
        for i in number:
            model.add_exactly_one(x[i])
        if problem["ramp_limit"] < len(kilns):
            model.add_cumulative(ramps, [1] * len(ramps), problem["ramp_limit"])
        for a, b in itertools.combinations(number, 2):
            same = self.flasks[a]["alloy"] == self.flasks[b]["alloy"]
            gap = pour + (0 if same else problem["alloy_change_min"])
            order = model.new_bool_var(f"order{a}.{b}")
            model.add(self.pour[b] >= self.pour[a] + gap).only_enforce_if(order)
            model.add(self.pour[a] >= self.pour[b] + gap).only_enforce_if(order.negated())
        late = []
        for i, flask in enumerate(self.flasks):
            after = pour + flask["lead_min"] - flask["due_min"]
            var = model.new_int_var(0, horizon + flask["lead_min"], f"late{i}")
            model.add(var >= self.pour[i] + after)
            late.append(flask["weight"] * var)
        makespan = model.new_int_var(0, horizon, "makespan")
        model.add_max_equality(makespan, [p + pour for p in self.pour])
        self.goals = [sum(late), sum(self.used), makespan]

    def solve(self, seconds):
        """Value of each goal in turn, and whether all are proved least."""
        values, proved = [], True
        hint = None
        for goal in self.goals:
            solver = cp_model.CpSolver()
            solver.parameters.max_time_in_seconds = seconds
            solver.parameters.num_workers = THREADS
            self.model.clear_hints()
            if hint:
                for index, value in enumerate(hint):
                    self.model.add_hint(self.model.get_int_var_from_proto_index(index), value)
            self.model.minimize(goal)
            status = solver.solve(self.model)
            if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                return None, status == cp_model.INFEASIBLE
            proved &= status == cp_model.OPTIMAL
            value = round(solver.objective_value)
            values.append(value)
            hint = list(solver.response_proto.solution)
            self.model.clear_objective()
            self.model.add(goal <= value)
        return values, proved


def solve(problem, seconds):
    """As `Model.solve`; loads per kiln are limited to one for each flask."""
    return Model(problem, len(problem["flasks"])).solve(seconds)


def beside(program, own_seconds, seconds, *files):
    """Both on each problem, and who is better."""
    for name in files:
        with open(name, encoding="utf-8") as file:
            problem = json.load(file)
        text = subprocess.run(
            [program, "plan", name, "--seconds", own_seconds],
            capture_output=True, text=True, check=True,
        ).stdout
        plan = json.loads(text)
        own = list(plan["objective"].values())
        bound = list(plan["bound"].values())
        values, proved = solve(problem, float(seconds))
        word = "nothing found" if values is None else (
            "alike" if own == values else "better here" if own < values else "better there"
        )
        print(problem["id"], own, "bound", bound, "unplanned", len(plan["unplanned"]),
              "| there", values, "proved" if proved else "not proved", "|", word, flush=True)


def main(arguments):
    if arguments[0] == "solve":
        with open(arguments[1], encoding="utf-8") as file:
            problem = json.load(file)
        print(problem["id"], *solve(problem, float(arguments[2])))
        return
    if arguments[0] == "beside":
        beside(*arguments[1:])
        return
    _, program, seconds, out, *numbers = arguments
    for seed, flasks, kilns in zip(numbers[::3], numbers[1::3], numbers[2::3]):
        text = subprocess.run(
            [program, seed, flasks, kilns], capture_output=True, text=True, check=True
        ).stdout
        values, proved = solve(json.loads(text), float(seconds))
        if values is None:
            print(seed, flasks, kilns, "no plan of all flasks" if proved else "nothing found")
            continue
        line = ",".join(map(str, [seed, flasks, kilns, *values, int(proved)]))
        print(line, flush=True)
        with open(out, "a", encoding="utf-8") as file:
            file.write(line + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
