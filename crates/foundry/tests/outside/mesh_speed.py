"""Reading and measuring a million facets, side by side with trimesh.

Both load the same binary STL and say its volume, its area and whether it is
closed. They take turns, and each is given by its quickest turn. The program is
timed as a whole process, trimesh without starting Python and importing it, which
is in trimesh's favour.

Run: cargo build --release -p foundry --example measure
     python3 mesh_speed.py ../../../../target/release/examples/measure
Needs trimesh 5.2.0 with scipy 1.17.1. Prints the seconds, their ratio, and the
program's peak memory beside that of the file and of the indexed mesh.
"""

import json
import math
import os
import subprocess
import sys
import tempfile
import time

import trimesh

TURNS = 5


# A child counts the memory of the process it was split from, so a small one starts the program.
PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024)
"""


def peak_memory(command):
    run = subprocess.run([sys.executable, "-S", "-c", PEAK, *command], capture_output=True, check=True)
    return int(run.stdout)


def by_program(command):
    started = time.perf_counter()
    run = subprocess.run(command, capture_output=True, check=True)
    return time.perf_counter() - started, json.loads(run.stdout)


def by_trimesh(file):
    started = time.perf_counter()
    mesh = trimesh.load_mesh(file)
    said = {"volume_mm3": mesh.volume, "area_mm2": mesh.area, "closed": bool(mesh.is_watertight)}
    return time.perf_counter() - started, said


def main():
    program = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        file = os.path.join(folder, "torus.stl")
        torus = trimesh.creation.torus(10, 3, major_sections=1000, minor_sections=500)
        torus.export(file)
        indexed = torus.vertices.nbytes + len(torus.faces) * 12
        command = [program, "measure", file]
        ours, theirs = [], []
        for _ in range(TURNS):
            seconds, said = by_program(command)
            ours.append(seconds)
            seconds, due = by_trimesh(file)
            theirs.append(seconds)
            for key, value in due.items():
                same = said[key] == value if key == "closed" else math.isclose(said[key], value, rel_tol=1e-9)
                if not same:
                    sys.exit(f"{key}: {said[key]} instead of {value}")
        peak, size = peak_memory(command), os.path.getsize(file)
        print(f"program {min(ours):.3f} s, trimesh {trimesh.__version__} {min(theirs):.3f} s, "
              f"ratio {min(theirs) / min(ours):.1f}")
        print(f"peak {peak / 1e6:.0f} MB, {peak / indexed:.1f} times the indexed mesh of {indexed / 1e6:.0f} MB; "
              f"the file has {size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
