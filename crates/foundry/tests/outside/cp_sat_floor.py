"""Which flasks fit on a kiln's floor, found apart from the planner; for cp_sat_model.py."""

import itertools
import json
import math
import pathlib
import random
import tempfile

import numpy
from scipy.optimize import minimize


def fits(diameters, kiln, clearance, tries=120, few=12, hopeless=25.0):
    """Whether places for circles were found on the floor of a kiln.

    Given up after a few tries when all of them left squares of overlaps that add up to much.
    """
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
    one, other = numpy.triu_indices(count, 1)
    apart = numpy.array(radii)[one] + numpy.array(radii)[other] + gap + 1e-7

    def overlap(z):
        x, y = z[:count], z[count:]
        dx, dy = x[one] - x[other], y[one] - y[other]
        far = numpy.maximum(numpy.hypot(dx, dy), 1e-9)
        lack = numpy.maximum(apart - far, 0.0)
        push = -2 * lack / far
        slope = [
            numpy.bincount(one, push * d, count) - numpy.bincount(other, push * d, count)
            for d in (dx, dy)
        ]
        return lack @ lack, numpy.concatenate(slope)

    bounds = box[0] + box[1]
    dice = random.Random(repr(sorted(diameters)))
    least = math.inf
    for attempt in range(tries):
        if attempt >= few and least > hopeless:
            return False
        # Anywhere, or mostly along the walls and in the corners.
        start = [
            dice.choice([low, low, high, high, dice.uniform(low, high)])
            if attempt % 2
            else dice.uniform(low, high)
            for low, high in bounds
        ]
        found = minimize(overlap, start, jac=True, method="L-BFGS-B", bounds=bounds)
        if found.fun < 1e-9:
            return True
        least = min(least, found.fun)
    return False


# What was found is kept for the next time: the search takes minutes for a large floor.
KEPT = pathlib.Path(tempfile.gettempdir()) / "cp_sat_floors.json"
known_fits = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}


def counts_fit(counts, sizes, kiln, clearance):
    """Whether so many flasks of each size fit."""
    floor = (kiln["width_mm"], kiln["depth_mm"], *clearance.values())
    key = repr((floor, [(size, n) for size, n in zip(sizes, counts) if n]))
    if key not in known_fits:
        diameters = [d for d, n in zip(sizes, counts) for _ in range(n)]
        known_fits[key] = not diameters or fits(diameters, kiln, clearance)
    return known_fits[key]


def floor_table(kiln, sizes, most, clearance):
    """All counts of flasks by size that fit, as tuples."""
    table, known = [], {}
    # No more of one size than fit alone.
    alone = []
    for n, at_most in enumerate(most):
        count = 0
        while count < at_most and counts_fit(
            [count + 1 if n == m else 0 for m in range(len(sizes))], sizes, kiln, clearance
        ):
            count += 1
        alone.append(count)
    for counts in itertools.product(*(range(m + 1) for m in alone)):
        smaller = [
            counts[:i] + (counts[i] - 1,) + counts[i + 1 :] for i in range(len(counts)) if counts[i]
        ]
        known[counts] = all(known[s] for s in smaller) and counts_fit(
            counts, sizes, kiln, clearance
        )
        if known[counts]:
            table.append(counts)
    KEPT.write_text(json.dumps(known_fits), encoding="utf-8")
    return table
