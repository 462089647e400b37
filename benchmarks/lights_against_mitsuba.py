"""The same picture at the same error: the direct light of five area lights, ours against Mitsuba 3, in one run.

    python benchmarks/lights_against_mitsuba.py          needs the test extra (mitsuba with llvm)

Set-up: two panels, a strip, a disc and a tube round a head and torso of 60 000 triangles before a backdrop,
960 × 720, all grey. Both have meshes and their trees in memory; each then finds what the camera sees, the shadows and
the light from nothing, every time. Mitsuba takes one sample of an emitter a pixel's sample (llvm; the best of its
stratified, multijittered and low-discrepancy samplers). Its error is what its pictures scatter from seed to seed, ours
is taken against single rays to the same points, on every fourth pixel of every fourth row that shows one thing; both
over pixels with more than 2 % of the brightest. Noise falls with the root of the samples: its seconds are scaled to
our error by the square.
"""

from __future__ import annotations

import math
import os
import time

import numpy as np

WIDTH, HEIGHT = 960, 720
CAMERA, LOOKS_AT = (0.0, 1.5, 3.0), (0.0, 1.45, 0.0)
AIM = (0.0, 1.55, 0.05)
HALF_WIDTH_DEG = math.degrees(math.atan(18.0 / 70.0))
REFLECTANCE = 0.5
SHINES = {
    "panel": ("panel", (1.3, 1.9, 1.6), "width_m = 0.9\nheight_m = 1.2"),
    "strip": ("strip", (-1.1, 1.6, -0.6), "width_m = 0.3\nheight_m = 1.2"),
    "disc": ("panel", (0.2, 2.6, 1.0), "diameter_m = 0.8"),
    "tube": ("tube", (-0.9, 1.3, 0.9), "length_m = 0.8\ndiameter_m = 0.05"),
    "hair": ("panel", (0.9, 2.1, -0.7), "width_m = 0.3\nheight_m = 0.2"),
}
AREAS = {
    "panel": 0.9 * 1.2,
    "strip": 0.3 * 1.2,
    "disc": math.pi * 0.16,
    "tube": math.pi * 0.05 * 0.8,
    "hair": 0.3 * 0.2,
}
LUMENS = 1000.0


def scene_text() -> str:
    """The scene as ours has it."""
    lights = "".join(
        f'[[light]]\nname = "{name}"\nkind = "{kind}"\nposition_m = {list(place)}\naim = {list(AIM)}\n{size}\n'
        f"output = {{ lumens = {LUMENS} }}\n"
        for name, (kind, place, size) in SHINES.items()
    )
    return f"""
format = 1
[camera]
position_m = {list(CAMERA)}
aim = {list(LOOKS_AT)}
focal_length_mm = 70
shutter_s = 0.01
{lights}
[[surface]]
name = "backdrop"
position_m = [0.0, 1.5, -1.0]
width_m = 6.0
height_m = 4.0
reflectance = {REFLECTANCE}
[[figure]]
name = "sitter"
reflectance = {REFLECTANCE}
"""


def clocks() -> np.ndarray:
    """Seconds of the wall, and of the processors over their number, which other work on the machine troubles less."""
    return np.array([time.perf_counter(), time.process_time() / (os.cpu_count() or 1)])


def ours():
    """Seconds of a picture by both clocks (median of 5, warm), its relative RMSE, and the stage."""
    from projector.rendering.area_light import Rows, received, received_by_rays
    from projector.rendering.sampling import Window, grid_points, outline_marks, quality_called
    from projector.rendering.session import RenderSession
    from projector.rendering.workers import Workers
    from projector.scene.reading.reader import load_text
    from projector.stage.stage import Stage

    base = Stage(load_text(scene_text(), "benchmark"))
    arrays, seconds = base.arrays, []
    with Workers() as workers:
        for _ in range(6):
            session = RenderSession(Stage(base.scene, arrays), WIDTH, HEIGHT, "quick", workers)
            start = clocks()
            session.exposed()
            seconds.append(clocks() - start)
        quality, camera = quality_called("quick"), base.camera(WIDTH, HEIGHT)
        window = Window(0, HEIGHT)
        grid = grid_points(arrays, camera, window, quality, workers)
        points, shows_more = grid.points, outline_marks(grid, camera, window, quality, workers)
        chosen = (np.arange(0, HEIGHT, 4)[:, None] * WIDTH + np.arange(0, WIDTH, 4)[None, :]).ravel()
        chosen = chosen[~shows_more[chosen] & (points.materials[chosen] >= 0)]
        part = points._replace(
            **{name: values[chosen] for name, values in points._asdict().items() if isinstance(values, np.ndarray)}
        )
        fast, references = np.zeros(len(chosen)), [np.zeros(len(chosen)) for _ in range(2)]
        for light in base.lights:
            got = received(arrays, light.shine, points, workers, rows=Rows(WIDTH)).value
            fast += light.power.luminance * got[chosen]
            for seed, reference in enumerate(references):
                reference += light.power.luminance * received_by_rays(arrays, light.shine, part, 16, seed, workers)
    lit = references[0] > 0.02 * references[0].max()
    squared = np.mean((fast - references[0])[lit] * (fast - references[1])[lit])
    return np.median(seconds[1:], axis=0), math.sqrt(max(squared, 0.0)) / fast[lit].mean(), base


def emitters(mi) -> dict:
    """The five lights as Mitsuba's own."""

    def facing(name, across, up):
        look = mi.ScalarTransform4f().look_at(origin=SHINES[name][1], target=AIM, up=(0.0, 1.0, 0.0))
        return look @ mi.ScalarTransform4f().scale((0.5 * across, 0.5 * up, 1.0))

    place = np.array(SHINES["tube"][1])
    along = np.cross(np.subtract(AIM, place), (0.0, 1.0, 0.0))
    along *= 0.4 / np.linalg.norm(along)
    ends = [[float(value) for value in place + sign * along] for sign in (1.0, -1.0)]
    kinds = {
        "panel": {"type": "rectangle", "to_world": facing("panel", 0.9, 1.2)},
        "strip": {"type": "rectangle", "to_world": facing("strip", 0.3, 1.2)},
        "disc": {"type": "disk", "to_world": facing("disc", 0.8, 0.8)},
        "tube": {"type": "cylinder", "p0": ends[0], "p1": ends[1], "radius": 0.025},
        "hair": {"type": "rectangle", "to_world": facing("hair", 0.3, 0.2)},
    }
    return {
        name: {
            **kind,
            "emitter": {
                "type": "area",
                "radiance": {"type": "rgb", "value": [LUMENS / (math.pi * AREAS[name])] * 3},
            },
        }
        for name, kind in kinds.items()
    }


def mitsuba_scene(mi, stage, sampler: str):
    """The same meshes, camera and lights."""
    scene = {"type": "scene", "integrator": {"type": "direct", "bsdf_samples": 0, "emitter_samples": 1}, **emitters(mi)}
    grey = {"type": "diffuse", "reflectance": {"type": "rgb", "value": REFLECTANCE}}
    for number, item in enumerate(stage.objects):
        properties = mi.Properties()
        properties["bsdf"] = mi.load_dict({"type": "twosided", "bsdf": grey})
        triangles, vertices = np.asarray(item.mesh.triangles, np.uint32), np.asarray(item.mesh.vertices, np.float32)
        mesh = mi.Mesh(f"mesh{number}", len(vertices), len(triangles), has_vertex_normals=True, props=properties)
        values = mi.traverse(mesh)
        values["vertex_positions"], values["faces"] = vertices.ravel(), triangles.ravel()
        values["vertex_normals"] = np.asarray(item.mesh.normals, np.float32).ravel()
        values.update()
        scene[f"mesh{number}"] = mesh
    film = {
        "type": "hdrfilm",
        "width": WIDTH,
        "height": HEIGHT,
        "pixel_format": "luminance",
        "rfilter": {"type": "box"},
    }
    scene["sensor"] = {
        "type": "perspective",
        "fov": 2.0 * HALF_WIDTH_DEG,
        "fov_axis": "x",
        "to_world": mi.ScalarTransform4f().look_at(CAMERA, LOOKS_AT, (0.0, 1.0, 0.0)),
        "film": film,
        "sampler": {"type": sampler, "sample_count": 16},
    }
    return mi.load_dict(scene)


def theirs(stage, wanted: float):
    """Rows (sampler, samples, seconds, relative RMSE, seconds to the wanted error)."""
    import mitsuba as mi

    mi.set_variant("llvm_ad_rgb")
    rows = []
    for sampler in ("stratified", "multijitter", "ldsampler"):
        scene = mitsuba_scene(mi, stage, sampler)
        np.array(mi.render(scene, spp=4, seed=1))
        for spp in (16, 64):
            pictures, seconds = [], []
            for seed in (2, 3, 4):
                start = clocks()
                pictures.append(np.array(mi.render(scene, spp=spp, seed=seed))[..., 0].astype(float))
                seconds.append(clocks() - start)
            mean, brightest = np.mean(pictures, axis=0), np.percentile(pictures, 99.5)
            # What is black and the lamps themselves aside.
            lit = (mean > 0.02 * brightest) & (mean < 2.0 * brightest)
            error = math.sqrt(np.var(pictures, axis=0, ddof=1)[lit].mean()) / mean[lit].mean()
            second = np.median(seconds, axis=0)
            rows.append((sampler, spp, second, error, second * (error / wanted) ** 2))
    return rows


def main() -> None:
    """Print both and their ratio."""
    seconds, error, stage = ours()
    print(f"load of the machine over the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} CPUs")
    print("seconds of the wall / of the processors over their number")
    print(f"ours: {seconds[0]:.2f} / {seconds[1]:.2f} s, relative RMSE {100 * error:.2f} %")
    rows = theirs(stage, error)
    for sampler, spp, second, relative, scaled in rows:
        print(
            f"mitsuba, {sampler}, {spp} samples: {second[0]:.2f} / {second[1]:.2f} s, relative RMSE"
            f" {100 * relative:.2f} % → {scaled[0]:.1f} / {scaled[1]:.1f} s to {100 * error:.2f} %"
        )
    ratios = np.min([row[4] for row in rows], axis=0) / seconds
    print(f"ratio at the same error: {ratios[0]:.1f} / {ratios[1]:.1f}")


if __name__ == "__main__":
    main()
