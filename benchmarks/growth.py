"""How time grows with pixels and with triangles, and how much memory a large scene takes.

    python benchmarks/growth.py

Pixels: first pictures of the shipped cabin window, quick quality; time per pixel should stay level. Triangles: the head
cut finer and finer; rays should slow no more than the logarithm of the count. Memory: the peak of one process with a
mesh of a million triangles at 1920 × 1440.
"""

from __future__ import annotations

import json
import math
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

SCENE = """
format = 1
[camera]
position_m = [0.0, 0.1, 1.3]
aim = [0.0, 0.0, 0.0]
focal_length_mm = 70
[[projector]]
name = "key"
position_m = [-0.9, 0.5, 1.8]
aim = [0.0, 0.0, 0.0]
gate = { shape = "round", diameter_mm = 40 }
stencil = { file = "window", width_mm = 38 }
lens = { focal_length_mm = 85, f_number = 1.8, dispersion = { glass = "N-BK7" } }
[[surface]]
name = "backdrop"
position_m = [0.0, 0.0, -0.8]
width_m = 4.0
height_m = 3.0
[[surface]]
name = "head"
shape = "mesh"
file = "head.ply"
"""


def write_head(folder: Path, n_cuts: int, at_least: int = 0) -> int:
    """The shipped head with its triangles cut in four so many times, then some of them once more;
    returns their count.
    """
    import trimesh

    from projector.figures.figure import build_figure

    figure = build_figure("head")
    mesh = trimesh.Trimesh(figure.mesh.vertices - figure.landmarks["nose_tip"], figure.mesh.triangles, process=False)
    if n_cuts < 0:
        mesh = trimesh.Trimesh(mesh.vertices, mesh.faces[:: 4**-n_cuts], process=False)
    for _ in range(max(n_cuts, 0)):
        mesh = mesh.subdivide()
    if len(mesh.faces) < at_least:
        mesh = mesh.subdivide(face_index=np.arange((at_least - len(mesh.faces)) // 3 + 1))
    mesh.export(folder / "head.ply")
    return len(mesh.faces)


def with_pixels() -> None:
    """Time of a first picture over its pixels."""
    from projector.files.finding import shipped_folder
    from projector.rendering.session import RenderSession
    from projector.scene.reading.reader import load

    scene = load(shipped_folder("scene") / "03-cabin-window.toml")
    RenderSession(scene, 320, 240).rgb_bytes()
    print("pixels        seconds   ns a pixel")
    for width in (480, 960, 1920):
        seconds = []
        for _ in range(3):
            session = RenderSession(scene, width, width * 3 // 4)
            start = time.perf_counter()
            session.rgb_bytes()
            seconds.append(time.perf_counter() - start)
        value = statistics.median(seconds)
        print(f"{width:5} × {width * 3 // 4:<5} {value:9.2f} {1e9 * value / (width * width * 0.75):12.0f}")


def with_triangles() -> None:
    """Time of the camera's rays over the triangles, and of the tree."""
    from projector.rendering import sampling
    from projector.rendering.sampling import QUALITIES, Window
    from projector.rendering.workers import Workers
    from projector.scene.reading.reader import load_text
    from projector.stage.camera import camera_arrays
    from projector.stage.surfaces import scene_arrays
    from projector.tracing.rays.bvh import build_bvh

    print("triangles   tree, s   rays, ns each   over log2(triangles)")
    with tempfile.TemporaryDirectory() as folder, Workers() as workers:
        for n_cuts in (0, 1, 2):
            count = write_head(Path(folder), n_cuts)
            scene = load_text(SCENE, "growth", folder)
            arrays = scene_arrays(scene)
            start = time.perf_counter()
            build_bvh(arrays.surfaces.vertices, arrays.surfaces.triangles)
            tree = time.perf_counter() - start
            camera = camera_arrays(scene, 960, 720)
            seconds = []
            for _ in range(5):
                start = time.perf_counter()
                sampling.grid_points(arrays, camera, Window(0, 720), QUALITIES["quick"], workers)
                seconds.append(time.perf_counter() - start)
            each = 1e9 * statistics.median(seconds) / (960 * 720)
            print(f"{count:9} {tree:9.2f} {each:15.0f} {each / math.log2(count):22.1f}")


_MEMORY = """
import json, resource, sys
from projector.rendering.session import RenderSession
from projector.scene.reading.reader import load_text
scene = load_text(open(sys.argv[1]).read(), "memory", sys.argv[2])
picture = RenderSession(scene, 1920, 1440).rgb_bytes()
peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(json.dumps({"peak_mib": peak_mib, "mean": float(picture.mean())}))
"""


def memory() -> None:
    """Peak memory of a process that renders a head of a million triangles at 1920 × 1440."""
    with tempfile.TemporaryDirectory() as folder:
        count = write_head(Path(folder), 2, 1_000_000)
        scene = Path(folder) / "scene.toml"
        scene.write_text(SCENE)
        run = subprocess.run(
            [sys.executable, "-c", _MEMORY, str(scene), folder], capture_output=True, text=True, check=True
        )
    print(f"peak memory, {count} triangles, 1920 × 1440: {json.loads(run.stdout)['peak_mib']:.0f} MiB")


def main() -> None:
    """All three."""
    np.seterr(all="raise", under="ignore")
    with_pixels()
    with_triangles()
    memory()


if __name__ == "__main__":
    main()
