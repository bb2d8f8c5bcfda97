"""Freezing of a block with a bar, by the enthalpy method, in NumPy.

The same scheme as foundry::freeze, written a second time over whole arrays:
plain mould explicit, metal and the mould beside it implicit by over-relaxed
red and black sweeps. Box 128 x 128 x 128 of 0.5 mm; a block of 8 mm and a bar
of 3 mm whose faces fall on the voxels' faces; sterling silver poured at 993 C
into investment at 538 C.

Run: python3 freeze_numpy.py        needs NumPy
With the program that `cargo bench -p foundry --bench freeze --no-run` names it
is timed beside the crate, before and after, and the ratio is printed.
Prints the times at which the middle of the block and places along the bar
pass a solid share of 0.7, when all is solid, and the wall-clock seconds.
"""

import math
import re
import subprocess
import sys
import time

import numpy as np

N, PITCH = 128, 0.5e-3
FLASK, POUR, SOLIDUS, LIQUIDUS, SOLVENT = 538.0, 993.0, 802.0, 893.0, 961.78
DENSITY, LATENT, C_SOLID, C_LIQUID = 9200.0, 112.6e3, 295.0, 333.0
K_SOLID, K_LIQUID = 310.0, 160.0
K_MOULD, RC_MOULD = 0.45, 1230.0 * 1000.0


def knots():
    t, h, f = [], [], []
    sensible = 0.0
    for i in range(9):
        at = SOLIDUS + (LIQUIDUS - SOLIDUS) * i / 8
        liquid = 1 - (LIQUIDUS - at) / (SOLVENT - at) * (SOLVENT - SOLIDUS) / (LIQUIDUS - SOLIDUS)
        if t:
            mean = 0.5 * (f[-1] + liquid)
            sensible += (at - FLASK - t[-1]) * DENSITY * (C_SOLID * (1 - mean) + C_LIQUID * mean)
        t.append(at - FLASK)
        f.append(liquid)
        h.append(sensible + DENSITY * LATENT * liquid)
    return np.array(t), np.array(h), np.array(f)


T, H, F = knots()


def settle(slope, volume, total):
    """Temperature and liquid share where slope*T + volume*heat(T) = total."""
    at = slope[:, None] * T + volume[:, None] * H
    k = np.clip((at <= total[:, None]).sum(1) - 1, 0, len(T) - 2)
    rows = np.arange(len(k))
    share = (total - at[rows, k]) / (at[rows, k + 1] - at[rows, k])
    warm = T[k] + share * (T[k + 1] - T[k])
    wet = F[k] + share * (F[k + 1] - F[k])
    cold, hot = total < at[:, 0], total >= at[:, -1]
    below = T[0] - (at[:, 0] - total) / (slope + volume * DENSITY * C_SOLID)
    above = T[-1] + (total - at[:, -1]) / (slope + volume * DENSITY * C_LIQUID)
    return (np.where(cold, below, np.where(hot, above, warm)),
            np.where(cold, 0.0, np.where(hot, 1.0, wet)))


def bench(program):
    """Seconds of the crate's quickest turn, from its benchmark."""
    said = subprocess.run([program, "--bench", "block_and_bar"], capture_output=True, text=True, check=True).stdout
    value, unit = re.search(r"voxels_cubed\s+([\d.]+) (m?s)", said).groups()
    return float(value) / (1000 if unit == "ms" else 1)


def run(settled_k):
    """Freezes once; each step ends when no sweep moves a temperature by more than this."""
    started = time.perf_counter()
    metal = np.zeros((N, N, N), bool)  # z, y, x
    metal[56:72, 56:72, 56:72] = True
    metal[61:67, 61:67, 64:104] = True
    near = metal.copy()
    for axis in range(3):
        near |= np.roll(metal, 1, axis) | np.roll(metal, -1, axis)
    z, y, x = np.nonzero(near)
    colour = (x + y + z) % 2
    order = np.argsort(colour, kind="stable")
    z, y, x = z[order], y[order], x[order]
    reds = int((colour == 0).sum())
    cells = (z * N + y) * N + x
    number = np.full(N**3, -1)
    number[cells] = np.arange(len(cells))
    strides = [-1, 1, -N, N, -N * N, N * N]
    beside = np.stack([cells + s for s in strides], 1)
    others = number[beside]
    implicit = others >= 0
    own = metal.ravel()[cells]
    other = metal.ravel()[beside]
    both = own[:, None] & other
    skin = own[:, None] ^ other
    volume = np.where(own, PITCH**3, 0.0)
    mould = np.where(own, 0.0, PITCH**3 * RC_MOULD)
    energy = volume * (H[-1] + (POUR - FLASK - T[-1]) * DENSITY * C_LIQUID)
    safe = np.where(implicit, others, 0)

    def temperatures():
        t, f = settle(np.where(own, mould, 1.0), volume, energy)
        return np.where(own, t, energy / np.where(own, 1.0, mould)), np.where(own, f, 0.0)

    above, wet = temperatures()
    field = np.zeros((N, N, N), np.float32)
    field.ravel()[cells] = above
    longest = PITCH**2 * RC_MOULD / (6 * K_MOULD)
    level = np.interp(0.3, F, H)
    feeds, solid = np.full(len(cells), np.inf), np.full(len(cells), np.inf)
    feeds[~own] = solid[~own] = 0.0
    trend = np.zeros(len(cells))
    now, omega, sweeps, steps = 0.0, 1.0, 0, 0
    halves = [slice(0, reds), slice(reds, len(cells))]
    while np.isinf(solid).any():
        step = min(longest, max(0.05 * longest, 0.04 * now))
        fo = np.float32(K_MOULD * step / (RC_MOULD * PITCH**2))
        p = np.pad(field, 1, mode="edge")
        new = field + fo * (p[:-2, 1:-1, 1:-1] + p[2:, 1:-1, 1:-1] + p[1:-1, :-2, 1:-1]
                            + p[1:-1, 2:, 1:-1] + p[1:-1, 1:-1, :-2] + p[1:-1, 1:-1, 2:] - 6 * field)
        root = 0.5 * (math.sqrt(now) + math.sqrt(now + step))
        eta = 0.5 * PITCH / (2 * root * math.sqrt(K_MOULD / RC_MOULD))
        factor = 2 * eta / (math.sqrt(math.pi) * math.erf(eta))
        g = np.full(implicit.shape, K_MOULD * PITCH)
        g[skin] = K_MOULD * PITCH / (0.5 / factor + 0.5 * K_MOULD / K_SOLID)
        molten = 0.5 * (wet[:, None] + wet[safe])
        g = np.where(both, PITCH * (K_SOLID + molten * (K_LIQUID - K_SOLID)), g)
        outer = np.where(implicit, 0.0, g * (field.ravel()[beside] - above[:, None])).sum(1)
        inner = np.where(implicit, g, 0.0)
        slope = mould + step * inner.sum(1)
        total = energy + step * outer
        old = above.copy()
        above += step * trend
        before, plain = np.inf, 0
        for sweep in range(20000):
            measuring = omega == 1.0
            change = 0.0
            for half in halves:
                right = total[half] + step * (inner[half] * above[safe[half]]).sum(1)
                want, _ = settle(slope[half], volume[half], right)
                want = np.where(own[half], want, right / slope[half])
                moved = want - above[half]
                above[half] += omega * moved
                change = max(change, float(np.abs(moved).max()))
            sweeps += 1
            if change < settled_k * (2 - omega):
                break
            if measuring:
                plain += 1
                if plain >= 4:
                    omega = min(2 / (1 + math.sqrt(1 - min(change / before, 0.9995))), 1.95)
            elif sweep % 200 == 199:
                omega, plain = 1.0, 0
            before = change
        was = energy / np.where(own, volume, 1.0)
        energy = total + step * (inner * (above[safe] - above[:, None])).sum(1)
        above, wet = temperatures()
        trend = (above - old) / step
        field = new
        field.ravel()[cells] = above
        heat = energy / np.where(own, volume, 1.0)
        for times, at in ((feeds, level), (solid, 0.0)):
            passed = own & (heat < at) & np.isinf(times)
            times[passed] = now + step * (was[passed] - at) / (was[passed] - heat[passed])
        now += step
        steps += 1
    wall = time.perf_counter() - started
    for name, place in (("block", (63, 63, 63)), ("bar_near", (75, 63, 63)),
                        ("bar_middle", (85, 63, 63)), ("bar_end", (103, 63, 63))):
        i = number[(place[2] * N + place[1]) * N + place[0]]
        print(f"{name} {feeds[i]:.4f}")
    print(f"solid {solid.max():.4f}")
    print(f"steps {steps} sweeps {sweeps} wall_seconds {wall:.2f}")
    return wall


def main():
    print("settled to 2 µK, for the figures")
    run(2e-6)
    print("settled to 2 mK, for the time")
    ours = [bench(sys.argv[1])] if len(sys.argv) > 1 else []
    wall = run(2e-3)
    if ours:
        ours.append(bench(sys.argv[1]))
        print(f"the crate in {min(ours):.2f} s, ratio {wall / min(ours):.1f}")


if __name__ == "__main__":
    main()
