"""Which flasks fit on a kiln's floor, found apart from the planner; for cp_sat_model.py."""

import itertools
import json
import math
import pathlib
import random
import tempfile

from scipy.optimize import minimize


def fits(diameters, kiln, clearance, tries=200, few=12, hopeless=60.0):
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
