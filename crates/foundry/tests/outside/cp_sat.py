"""Solves planning problems with a general constraint solver, for comparison.

Needs ortools (tried with 9.15) and scipy (1.17). The model (cp_sat_model.py) follows the rules of
the planning problem and shares nothing with the planner. Which flasks fit on a floor is asked of
an own search for places (cp_sat_floor.py: multistart minimisation of the overlaps with L-BFGS); a
set for which none is found counts as not fitting.

    cp_sat.py optima PLAN_INSTANCES SECONDS OUT.csv SEED FLASKS KILNS [...]
        solves generated problems (PLAN_INSTANCES is the example of that name, and may be given with
        the word `decided` or `slow` after it) with so many seconds for each goal and appends one
        line for each to OUT.csv: the numbers, what was found, and how many of tardiness, loads and
        makespan are proved least
    cp_sat.py solve INSTANCE.json SECONDS
        solves one problem and prints what was found
    cp_sat.py prove POURDAY OWN_SECONDS SECONDS INSTANCE.json [...]
        plans each problem with `pourday plan`, then searches with the constraint solver from that
        plan on for a better one, and prints both and how many of the goals are proved
    cp_sat.py beside POURDAY OWN_SECONDS SECONDS INSTANCE.json [...]
        plans each problem with `pourday plan` and with the constraint solver, one after the other
        on the same machine. The solver begins from the planner's first plan (a constructive one,
        before any search) and has SECONDS of two cores for tardiness alone, then a quarter of that
        for each of the other goals. Times of the processor count, so that other work on the
        machine takes nothing from it. Flasks that the planner leaves out are left out for both.
"""

import json
import subprocess
import sys
import time

from cp_sat_model import Model


def read(name):
    with open(name, encoding="utf-8") as file:
        return json.load(file)


def planned(program, name, *limit):
    """The planner's plan, and seconds of the processor it took."""
    begun = time.monotonic()
    text = subprocess.run(
        [program, "plan", name, *limit], capture_output=True, text=True, check=True
    ).stdout
    return json.loads(text), time.monotonic() - begun


def prove(program, own_seconds, seconds, *files):
    """The planner's plan, and whether the constraint solver finds a better one."""
    for name in files:
        plan, _ = planned(program, name, "--seconds", own_seconds)
        own = list(plan["objective"].values())
        model = Model(read(name), [plan])
        model.hint(plan)
        values, proved, used = model.solve([float(seconds)] * 3, while_proved=True)
        bounds = model.bounds if values else []
        print(name, own, "left out", len(plan["unplanned"]), "|", values, "bounds", bounds,
              f"proved {proved} in {used:.0f} s", flush=True)


def beside(program, own_seconds, seconds, *files):
    """Both on each problem, and who is better."""
    for name in files:
        plan, own_wall = planned(program, name, "--seconds", own_seconds)
        first, _ = planned(program, name, "--steps", "1")
        own = list(plan["objective"].values())
        bound = list(plan["bound"].values())
        problem = read(name)
        left_out = {one["flask"] for one in plan["unplanned"]}
        problem["flasks"] = [one for one in problem["flasks"] if one["id"] not in left_out]
        model = Model(problem, [plan, first])
        if left_out == {one["flask"] for one in first["unplanned"]}:
            model.hint(first)
        budget = float(seconds)
        begun = time.monotonic()
        values, proved, used = model.solve([budget, budget / 4, budget / 4])
        wall = time.monotonic() - begun
        word = "nothing found" if values is None else (
            "alike" if own == values else "better here" if own < values else "better there"
        )
        print(name, own, f"in {own_wall:.1f} s", "bound", bound, "left out", len(plan["unplanned"]),
              "first", list(first["objective"].values()), "| there", values,
              f"proved {proved}, {used:.0f} s of two cores in {wall:.0f} s |", word, flush=True)


def optima(program, seconds, out, *numbers):
    """Generated problems, a line for each."""
    for seed, flasks, kilns in zip(numbers[::3], numbers[1::3], numbers[2::3]):
        text = subprocess.run(
            [*program.split(), seed, flasks, kilns], capture_output=True, text=True, check=True
        ).stdout
        values, proved, _ = Model(json.loads(text)).solve([float(seconds)] * 3)
        if values is None:
            print(seed, flasks, kilns, "no plan of all flasks" if proved else "nothing found")
            continue
        line = ",".join(map(str, [seed, flasks, kilns, *values, proved]))
        print(line, flush=True)
        with open(out, "a", encoding="utf-8") as file:
            file.write(line + "\n")


def solve(name, seconds):
    """One problem."""
    print(name, *Model(read(name)).solve([float(seconds)] * 3))


def main(arguments):
    command, *rest = arguments
    {"optima": optima, "solve": solve, "prove": prove, "beside": beside}[command](*rest)


if __name__ == "__main__":
    main(sys.argv[1:])
