"""Thickness of walls on a ring of 100,000 facets, side by side with trimesh and its Embree back end.

Both find the largest sphere that touches the surface at a place and fits inside. The program does
so at one place on each facet, by ray and by sphere together, and is timed for that alone, with the
tree it builds; trimesh does so at the middles of as many facets as it is given (its sphere is slow,
so a part of them), without loading, with its own tree built before. Both are given by the seconds
for one place. The wall is known; trimesh's sphere stops short of it on so fine a surface, and
finds next to nothing at a vertex, which is printed and not held against the program.

Run: cargo build --release -p foundry --example walls
     python3 walls_speed.py ../../../../target/release/examples/walls
Needs trimesh 5.2.0 with embreex 4.4.0, scipy 1.17.1 and rtree 1.4.1.
"""

import json
import os
import subprocess
import sys
import tempfile
import time

import numpy as np
import trimesh

TURNS, SPHERES = 3, 500
WIRE_MM = 3.0


def main():
    program = os.path.abspath(sys.argv[1])
    torus = trimesh.creation.torus(10, WIRE_MM / 2, major_sections=500, minor_sections=100)
    if type(torus.ray).__module__.rsplit(".", 1)[-1] != "ray_pyembree":
        sys.exit(f"trimesh does not use Embree but {type(torus.ray).__module__}")
    chosen = {"max_sphere": np.linspace(0, len(torus.faces) - 1, SPHERES).astype(int), "ray": np.arange(len(torus.faces))}
    with tempfile.TemporaryDirectory() as folder:
        file = os.path.join(folder, "ring.stl")
        torus.export(file)
        ours, spheres, rays, found = [], [], [], {}
        for _ in range(TURNS):
            said = json.loads(subprocess.run([program, file], capture_output=True, check=True).stdout)
            ours.append(said["seconds"] / said["places"])
            for method, times in (("max_sphere", spheres), ("ray", rays)):
                points, normals = torus.triangles_center[chosen[method]], torus.face_normals[chosen[method]]
                # The first turn builds trimesh's trees; the quickest counts.
                started = time.perf_counter()
                walls = trimesh.proximity.thickness(torus, points, exterior=False, normals=normals, method=method)
                times.append((time.perf_counter() - started) / len(points))
                found[method] = np.median(walls)
            if not abs(found["ray"] - WIRE_MM) < 0.02 * WIRE_MM:
                sys.exit(f"trimesh, ray: {found['ray']} mm instead of {WIRE_MM}")
        if not abs(said["p01_mm"] - WIRE_MM) < 0.02 * WIRE_MM:
            sys.exit(f"program: {said['p01_mm']} mm instead of {WIRE_MM}")
    us = min(ours) * 1e6
    print(f"program {us:.2f} µs a place, sphere and ray, {said['places']} places, {said['p01_mm']:.3f} mm")
    print(f"trimesh {trimesh.__version__} sphere {min(spheres) * 1e6:.1f} µs, ratio {min(spheres) * 1e6 / us:.1f}, {found['max_sphere']:.3f} mm; "
          f"ray {min(rays) * 1e6:.1f} µs, ratio {min(rays) * 1e6 / us:.2f}, {found['ray']:.3f} mm")


if __name__ == "__main__":
    main()
