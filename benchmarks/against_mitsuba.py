"""The same map at the same error: seconds to 1 % relative RMSE of a backdrop's irradiance, ours against Mitsuba 3, in
one run.

    python benchmarks/against_mitsuba.py          needs the test extra (mitsuba with llvm)

Set-up: lens of 85 mm, pupil 60 mm, round gate of 40 mm with a window stencil, focus at 2.8 m, backdrop at 3.12 m, a
head of 176 000 triangles in the beam at 1.5 m, 960 × 720 texels, one wavelength. Mitsuba has no lens projector: 64 of
its stock pinhole projectors, spread evenly over the pupil, stand for it (stratified samples, llvm). Its error is taken
against its own converged picture, so that the lens that it only stands for is not held against it; ours against single
rays through the raw bitmap. Noise falls with the root of the samples: seconds are scaled to 1 % by the square.

Before the clock starts, both have the scene in memory: meshes and their trees, and the stencil as a texture (ours: the
gate's picture). Ours then blurs the stencil, finds visibility and looks up, from nothing, every time.
"""

from __future__ import annotations

import math
import statistics
import tempfile
import time
from pathlib import Path

import numpy as np

WIDTH, HEIGHT = 960, 720
PUPIL, FOCUS, BACKDROP, HEAD_AT = 0.060, 2.8, 3.12, 1.5
MAP_WIDTH = 1.8
N_PINHOLES = 64


def head_mesh():
    """The shipped head, every triangle cut in four, in the beam: vertices and triangles in the world, the projector at
    the origin facing −z.
    """
    import trimesh

    from projector.figures.figure import build_figure

    figure = build_figure("head")
    mesh = trimesh.Trimesh(figure.mesh.vertices, figure.mesh.triangles, process=False).subdivide()
    vertices = mesh.vertices - figure.landmarks["nose_tip"] + np.array([0.12, -0.02, -HEAD_AT])
    return np.asarray(vertices, float), np.asarray(mesh.faces, np.int32)


def ours(folder: Path):
    """Seconds of a map (median of 7, warm: kernels compiled, memory in use), its relative RMSE against two independent
    references on every fourth texel, and the map (n,).
    """
    import trimesh

    from projector.photometry.spectra import N_WAVELENGTHS
    from projector.rendering import prepared_light
    from projector.rendering.maps.map_grid import surface_points
    from projector.rendering.shadows import find_visibility
    from projector.rendering.workers import Workers
    from projector.scene.reading.reader import load_text
    from projector.stage.optics import bitmap_of, gate_of
    from projector.stage.stage import Stage
    from projector.tracing.gate.gate_image import draw_gate
    from projector.tracing.light.reference import add_light_by_rays

    vertices, triangles = head_mesh()
    trimesh.Trimesh(vertices, triangles, process=False).export(folder / "head.ply")
    scene = load_text(
        f"""
format = 1
[camera]
position_m = [0.0, 0.0, 1.0]
aim = [0.0, 0.0, -1.0]
[[projector]]
name = "lens"
position_m = [0.0, 0.0, 0.0]
aim = [0.0, 0.0, -1.0]
gate = {{ shape = "round", diameter_mm = 40 }}
stencil = {{ file = "window", width_mm = 40 }}
lens = {{ focal_length_mm = 85, f_number = {85 / (1000 * PUPIL)} }}
focus = {{ distance_m = {FOCUS} }}
[[surface]]
name = "backdrop"
position_m = [0.0, 0.0, {-BACKDROP}]
width_m = {MAP_WIDTH}
height_m = {MAP_WIDTH * HEIGHT / WIDTH}
[[surface]]
name = "head"
shape = "mesh"
file = "head.ply"
""",
        "benchmark",
        folder,
    )
    stage = Stage(scene)
    arrays = stage.arrays
    x = ((np.arange(WIDTH) + 0.5) / WIDTH - 0.5) * MAP_WIDTH
    y = (0.5 - (np.arange(HEIGHT) + 0.5) / HEIGHT) * MAP_WIDTH * HEIGHT / WIDTH
    across, up = np.meshgrid(x, y)
    positions = np.stack([across.ravel(), up.ravel(), np.full(across.size, -BACKDROP)], axis=1)
    points = surface_points(positions, np.tile([0.0, 0.0, 1.0], (len(positions), 1)))
    white = np.ones((1, N_WAVELENGTHS))
    seconds = []
    bitmap = bitmap_of(scene.projector[0], scene)
    image = draw_gate(gate_of(scene.projector[0]), bitmap)
    with Workers() as workers:
        for _ in range(10):
            start = time.perf_counter()
            source = prepared_light.light_source(stage.projector(), 1)
            prepared = prepared_light.PreparedLight(
                source, image, prepared_light.stacks_for(source.light, image, workers.threads)
            )
            squares = prepared_light.squares_seen_by(prepared.light.emitter, points, WIDTH, workers, True)
            visibility = find_visibility(arrays, prepared.light, points, 3, workers, None, prepared.image, squares)
            reach = prepared_light.reach_of(prepared.light.emitter, points, visibility.state)
            out = np.zeros((len(positions), 3))
            weights = prepared.weights(white, prepared_light.MAP_CHANNELS)
            with prepared_light.stacks_ready(prepared, reach) as stacks:
                prepared_light.light_points(prepared, points, visibility, stacks, weights, out, workers, None, squares)
            seconds.append(time.perf_counter() - start)
        chosen = (np.arange(0, HEIGHT, 4)[:, None] * WIDTH + np.arange(0, WIDTH, 4)[None, :]).ravel()
        part = type(points)(*(column[chosen] for column in points))
        references = []
        for seed in (1, 2):
            sums = np.zeros((chosen.size, 3))
            workers.run_pieces(
                chosen.size,
                lambda a, b, seed=seed, sums=sums: add_light_by_rays(
                    prepared.light, arrays.bvh, part, weights, 16, seed, a, b, sums
                ),
                piece=512,
            )
            references.append(sums[:, 1])
    fast = out[chosen, 1]
    lit = references[0] > 0.02 * references[0].max()
    squared = np.mean((fast - references[0])[lit] * (fast - references[1])[lit])
    return statistics.median(seconds[3:]), math.sqrt(max(squared, 0.0)) / fast[lit].mean(), out[:, 1]


def mitsuba_scene(mi):
    """Backdrop, head, and a camera beside the lens whose near plane lies behind the head; 64 pinholes with the stencil
    in each.
    """
    from PIL import Image

    from projector.files.finding import shipped_folder
    from projector.tracing.sight.outline import make_outline, outline_point

    vertices, triangles = head_mesh()
    mesh = mi.Mesh("head", len(vertices), len(triangles))
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = vertices.astype(np.float32).ravel()
    parameters["faces"] = triangles.astype(np.uint32).ravel()
    parameters.update()
    stencil = np.asarray(Image.open(shipped_folder("stencil") / "window.png"), np.float32) / 255.0
    rows, columns = np.indices(stencil.shape)
    inside = np.hypot(columns + 0.5 - stencil.shape[1] / 2, rows + 0.5 - stencil.shape[0] / 2) <= stencil.shape[0] / 2
    bitmap = mi.Bitmap((stencil * inside)[..., None])
    T = mi.ScalarTransform4f
    scene = {
        "type": "scene",
        "integrator": {"type": "direct", "bsdf_samples": 0, "emitter_samples": 1},
        "backdrop": {
            "type": "rectangle",
            "to_world": T().translate([0, 0, -BACKDROP]).scale([5, 5, 1]),
            "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 1.0}},
        },
        "head": mesh,
        "sensor": {
            "type": "perspective",
            "near_clip": 2.2,
            "far_clip": 10.0,
            "fov": math.degrees(2 * math.atan(0.5 * MAP_WIDTH / BACKDROP)),
            "fov_axis": "x",
            "to_world": T().look_at([0, 0, 0], [0, 0, -1], [0, 1, 0]),
            "film": {
                "type": "hdrfilm",
                "width": WIDTH,
                "height": HEIGHT,
                "pixel_format": "luminance",
                "rfilter": {"type": "box"},
            },
            "sampler": {"type": "stratified", "sample_count": 16},
        },
    }
    tube = 1.0 / (1.0 / 0.085 - 1.0 / FOCUS)
    fov = math.degrees(2 * math.atan(0.020 / tube))
    side = round(math.sqrt(N_PINHOLES))
    for index in range(N_PINHOLES):
        px, py = outline_point(make_outline(), (index % side + 0.5) / side, (index // side + 0.5) / side)
        at = [0.5 * PUPIL * px, -0.5 * PUPIL * py, 0.0]
        # Each pinhole looks at the same point in focus: a sheared picture, which a turn of a tenth of a degree stands
        # for.
        scene[f"pinhole{index}"] = {
            "type": "projector",
            "irradiance": {"type": "bitmap", "bitmap": bitmap, "raw": True},
            "fov": fov,
            "to_world": T().look_at(at, [0, 0, -FOCUS], [0, 1, 0]),
            "scale": 1.0,
        }
    return mi.load_dict(scene)


def theirs():
    """Seconds to 1 % and the samples that were timed."""
    import mitsuba as mi

    mi.set_variant("llvm_ad_rgb")
    scene = mitsuba_scene(mi)
    truth = sum(np.array(mi.render(scene, spp=256, seed=100 + seed))[..., 0].astype(float) for seed in range(4)) / 4
    lit = truth > 0.02 * truth.max()
    found = []
    for spp in (16, 64):
        mi.render(scene, spp=spp, seed=1).numpy()
        seconds, errors = [], []
        for seed in (2, 3, 4):
            start = time.perf_counter()
            picture = np.array(mi.render(scene, spp=spp, seed=seed))[..., 0].astype(float)
            seconds.append(time.perf_counter() - start)
            errors.append(math.sqrt(((picture - truth)[lit] ** 2).mean()) / truth[lit].mean())
        second, error = statistics.median(seconds), statistics.median(errors)
        found.append((spp, second, error, second * (error / 0.01) ** 2))
    return found


def main() -> None:
    """Print both and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        seconds, error, _ = ours(Path(folder))
    print(f"ours: {seconds:.3f} s, relative RMSE {100 * error:.2f} %")
    rows = theirs()
    for spp, second, relative, scaled in rows:
        print(
            f"mitsuba, {N_PINHOLES} pinhole projectors, {spp} stratified samples: {second:.2f} s, relative RMSE"
            f" {100 * relative:.2f} % → {scaled:.2f} s to 1 %"
        )
    best = min(row[3] for row in rows)
    print(f"ratio at 1 %: {best / seconds:.1f}")


if __name__ == "__main__":
    main()
