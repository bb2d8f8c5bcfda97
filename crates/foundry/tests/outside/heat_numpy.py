"""A day's burnout of a 3.5 × 4 in flask with vectorised numpy, for its figures and for its time.

The scheme of `foundry::heat`: axisymmetric finite volumes, enthalpy as the unknown, second-order
backward differences split by direction, lines solved by elimination with every line of a direction
in one numpy operation. Written apart from the crate; shares no code with it.
tests/heat_outside.rs holds the crate against the figures printed here.

    python3 heat_numpy.py        (needs numpy; numpy 2.4.6 under Python 3.11.7 printed the figures)

With the program that `cargo bench -p foundry --bench heat --no-run` names it takes turns with the
crate and prints the ratio of the quickest ones.
"""

import re
import subprocess
import sys
import time

import numpy as np

TURNS = 3
SIGMA, KELVIN = 5.670374419e-8, 273.15

# The flask: 88.9 mm inside, 101.6 mm high, 1.6 mm of steel, on an insulating shelf.
RADIUS, HEIGHT, WALL = 0.04445, 0.1016, 0.0016
STEEL_CAPACITY, STEEL_K = 7900.0 * 560.0, 20.0
COLUMNS, ROWS = 16, 24
EMISSIVITY, STILL = 0.85, 8.0

# The mix: 40 g of water to 100 g of powder of 2.5 g/cm³ with 28 % hemihydrate.
POWDER = 1000.0 / (1 / 2.5 + 0.4)
HEMIHYDRATE = 0.28 * POWDER
BOUND = HEMIHYDRATE * 1.5 * 18.0153 / 145.148
GYPSUM = HEMIHYDRATE * 172.171 / 145.148
FIRED = POWDER - HEMIHYDRATE * 0.5 * 18.0153 / 145.148
WATER = POWDER * 0.4 - BOUND

# Corners of the two enthalpy curves, J/m³ from 0 °C, and of the steel's.
T_SET = np.array([0.0, 100.0, 101.0, 105.0, 135.0, 170.0, 1500.0])
H_SET = FIRED * 1000.0 * T_SET + WATER * 4180.0 * np.minimum(T_SET, 100.0)
H_SET += WATER * 2.257e6 * np.clip(T_SET - 100.0, 0, 1)
H_SET += GYPSUM * 495e3 * np.clip((T_SET - 105) / 30, 0, 1)
H_SET += GYPSUM * 165e3 * np.clip((T_SET - 135) / 35, 0, 1)
SLOPES = np.concatenate([np.diff(H_SET) / np.diff(T_SET), [FIRED * 1000.0, STEEL_CAPACITY]])
OFFSETS = np.concatenate([H_SET[:-1] - SLOPES[:6] * T_SET[:-1], [0.0, 0.0]])
LOWS = np.concatenate([[-np.inf], T_SET[1:-1], [-np.inf, -np.inf]])
HIGHS = np.concatenate([T_SET[1:-1], [np.inf, np.inf, np.inf]])
LAST_SET, FIRED_PIECE, STEEL_PIECE = 5, 6, 7


def programme():
    """A day: °C at minutes."""
    t, minute, knots = 22.0, 0.0, [(0.0, 22.0)]
    for to, hold in ((149, 180.0), (371, 120.0), (732, 240.0), (538, 357.6)):
        minute += abs(to - t) / 100.0 * 60.0
        knots.append((minute, to))
        minute += hold
        knots.append((minute, to))
        t = to
    return np.array(knots)


def exchange(surface, kiln):
    a, b = surface + KELVIN, kiln + KELVIN
    still = STILL * (np.abs(kiln - surface) / 100.0) ** 0.25
    return still + EMISSIVITY * SIGMA * (a * a + b * b) * (a + b)


def through(inner, cell, kiln):
    outer = exchange(cell, kiln)
    for _ in range(2):
        outer = exchange((inner * cell + outer * kiln) / (inner + outer), kiln)
    return inner * outer / (inner + outer)


def conductivity(t):
    k = np.interp(t, [600.0, 800.0], [0.45, 0.55])
    k[-1] = STEEL_K
    return k


def solve(t, piece, right, gain, links, kiln):
    """Lines along the first axis; `links` to the next cell, the last to the kiln."""
    count = len(t)
    factor, reduced = np.empty_like(t), np.empty_like(t)
    for round_ in range(60):
        slope, offset = SLOPES[piece], OFFSETS[piece]
        inward = np.zeros_like(t[0])
        f, r = np.zeros_like(t[0]), np.zeros_like(t[0])
        for n in range(count):
            pivot = 1.0 / (gain[n] * slope[n] + links[n] + inward * (1.0 - f))
            r = (gain[n] * (right[n] - offset[n]) + inward * r) * pivot
            f = links[n] * pivot
            factor[n], reduced[n] = f, r
            inward = links[n]
        beyond = np.full_like(t[0], kiln)
        for n in range(count - 1, -1, -1):
            beyond = reduced[n] + factor[n] * beyond
            t[n] = beyond
        up, down = t > HIGHS[piece] + 1e-9, t < LOWS[piece] - 1e-9
        if not (up.any() or down.any()):
            return
        piece += up.astype(int) - down.astype(int)
    raise RuntimeError("a line did not settle")


def fire():
    knots = programme()
    dr, dz = RADIUS / COLUMNS, HEIGHT / ROWS
    n = np.arange(COLUMNS)
    outside = RADIUS + WALL
    area = np.append((n + 0.5) * dr * dr, (outside**2 - RADIUS**2) / 2)[:, None]
    shape = (COLUMNS + 1, ROWS)
    t = np.full(shape, 22.0)
    before = t.copy()
    piece = np.zeros(shape, dtype=int)
    piece[-1] = STEEL_PIECE
    h = OFFSETS[piece] + SLOPES[piece] * t
    h_before = h.copy()
    now, step, last = 0.0, 15.0, 0.0
    corners = list(knots[1:, 0] * 60.0)
    cores, dry, steps = [], None, 0
    ones = np.ones((ROWS, 1))
    while corners:
        left = corners[0] - now
        at_corner = left <= step * 1.000001
        dt = left if at_corner else (left / 2 if left < 2 * step else step)
        end = corners[0] if at_corner else now + dt
        kiln_now = np.interp(now / 60, knots[:, 0], knots[:, 1])
        kiln_end = np.interp(end / 60, knots[:, 0], knots[:, 1])
        w = dt / last if last else 0.0
        weight = dt * (1 + w) / (1 + 2 * w)
        ahead = t + w * (t - before)
        resist = 1.0 / conductivity(ahead)
        outward, upward = np.empty(shape), np.empty(shape)
        edges = 2.0 * np.arange(1, COLUMNS)[:, None]
        outward[: COLUMNS - 1] = edges / (resist[: COLUMNS - 1] + resist[1:COLUMNS])
        outward[COLUMNS - 1] = RADIUS / (dr / 2) / resist[COLUMNS - 1]
        outward[-1] = outside * exchange(ahead[-1], kiln_end)
        upward[:, :-1] = 2.0 / (dz * dz) / (resist[:, :-1] + resist[:, 1:])
        inner = 2.0 / (dz * resist[:, -1])
        top_now = through(inner, t[:, -1], kiln_now) / dz
        upward[:, -1] = through(inner, ahead[:, -1], kiln_end) / dz
        flow = upward[:, :-1] * (t[:, :-1] - t[:, 1:])
        heat = np.zeros(shape)
        heat[:, 1:] += flow
        heat[:, :-1] -= flow
        heat[:, -1] -= top_now * (t[:, -1] - kiln_now)
        heat *= weight
        before = t.copy()
        right = ((1 + w) ** 2 * h - w * w * h_before) / (1 + 2 * w) + heat
        h_before = h
        solve(t, piece, right, np.broadcast_to(area, shape), weight * outward, kiln_end)
        right = OFFSETS[piece] + SLOPES[piece] * t - heat
        turned, turned_piece = t.T.copy(), piece.T.copy()
        solve(turned, turned_piece, right.T, np.broadcast_to(ones, shape[::-1]), weight * upward.T,
              kiln_end)
        t, piece = turned.T.copy(), turned_piece.T.copy()
        h = OFFSETS[piece] + SLOPES[piece] * t
        done = piece == LAST_SET
        piece[done] = FIRED_PIECE
        fired = OFFSETS[piece] + SLOPES[piece] * t
        h_before = h_before + (fired - h)
        h = fired
        now, last, steps = now + dt, dt, steps + 1
        column = 1.125 * t[0] - 0.125 * t[1]
        core = 1.125 * column[0] - 0.125 * column[1]
        if dry is None and core > 101.0:
            dry = now / 3600
        if at_corner:
            corners.pop(0)
            cores.append(core)
            step = 15.0
        else:
            change = np.abs(t - before).max() * 120.0 / dt
            step = min(dt * 1.6, 120.0 * min(max(0.5 / max(change, 1e-9), 1.0), 4.0))
    return cores, dry, steps


def bench(program):
    """Milliseconds of the crate's quickest turn on this flask, from its benchmark."""
    said = subprocess.run([program, "--bench", "a_day_on_one_flask"], capture_output=True, text=True, check=True).stdout
    return float(re.search(r"\(3\.5, 4\.0\)\s+([\d.]+) ms", said).group(1))


def main():
    took, ours = [], []
    for _ in range(TURNS):
        begin = time.perf_counter()
        cores, dry, steps = fire()
        took.append((time.perf_counter() - begin) * 1000)
        if len(sys.argv) > 1:
            ours.append(bench(sys.argv[1]))
    print("core at the corners, °C:", ", ".join(f"{core:.2f}" for core in cores))
    print(f"core dry after {dry:.2f} h; {steps} steps in {min(took):.0f} ms")
    if ours:
        print(f"the crate in {min(ours):.2f} ms, ratio {min(took) / min(ours):.0f}")


if __name__ == "__main__":
    main()
