"""A steel wall cooling beside its investment: an explicit radial computation, ends left out.

Independent of the crate: explicit Euler, 100 cells, the wall a node of its own. Prints the wall and
the temperature at three quarters of the radius of a flask of 4 in inside diameter, which
tests/heat_cooling.rs holds the implicit computation against.

    python3 heat_wall.py        (needs numpy)
"""

import numpy as np


def wall_after(seconds, radius=0.0508, cells=100):
    conductivity, capacity = 0.45, 1.23e6
    steel, thickness = 7900 * 560, 0.0016
    dr = radius / cells
    middles = (np.arange(cells) + 0.5) * dr
    edges = np.arange(1, cells) * dr
    stored = capacity * middles * dr
    outside = radius + thickness
    stored_wall = steel * (outside**2 - radius**2) / 2
    t, wall, air = np.full(cells, 537.8), 537.8, 22.0
    steps = int(seconds / (0.2 * dr * dr * capacity / conductivity)) + 1
    dt = seconds / steps
    for _ in range(steps):
        flow = conductivity * edges * (t[1:] - t[:-1]) / dr
        gain = np.zeros(cells)
        gain[:-1] += flow
        gain[1:] -= flow
        radiation = 0.85 * 5.670374419e-8
        radiation *= ((wall + 273.15) ** 2 + (air + 273.15) ** 2) * (wall + air + 546.3)
        loss = (8 * ((wall - air) / 100) ** 0.25 + radiation) * outside * (wall - air)
        contact = conductivity * radius / (dr / 2) * (t[-1] - wall)
        gain[-1] -= contact
        wall += dt * (contact - loss) / stored_wall
        t = t + dt * gain / stored
    return wall, np.interp(0.75 * radius, middles, t)


for seconds in (60, 180, 300):
    wall, outer = wall_after(seconds)
    print(f"{seconds:4} s: wall {wall:.1f}, three quarters {outer:.1f}")
