"""The same map at the same error as `against_mitsuba.py`, ours against a kernel written by hand in Dr.Jit for just
this.

    python benchmarks/against_drjit.py            needs the test extra (mitsuba brings Dr.Jit) and llvm

Their kernel: for every texel, stratified points of the pupil, the gate point of each ray by the thin lens's law, the
stencil looked up there with hardware-like bilinear filtering, and a shadow ray to the head only where the stencil
passes light; one fused loop over all texels, compiled by LLVM for this machine's vectors. Its error is taken against
its own converged map, ours against single rays through the raw bitmap; seconds are scaled to 1 % by the square of the
error.
"""

from __future__ import annotations

import math
import statistics
import tempfile
import time
from pathlib import Path

import drjit as dr
import mitsuba as mi
import numpy as np
from against_mitsuba import BACKDROP, FOCUS, HEIGHT, MAP_WIDTH, PUPIL, WIDTH, head_mesh, ours

mi.set_variant("llvm_ad_rgb")
TUBE = 1.0 / (1.0 / 0.085 - 1.0 / FOCUS)
GATE_RADIUS = 0.020


def head_scene():
    """The head alone: what shadow rays are cast against."""
    vertices, triangles = head_mesh()
    mesh = mi.Mesh("head", len(vertices), len(triangles))
    parameters = mi.traverse(mesh)
    parameters["vertex_positions"] = vertices.astype(np.float32).ravel()
    parameters["faces"] = triangles.astype(np.uint32).ravel()
    parameters.update()
    return mi.load_dict({"type": "scene", "head": mesh})


def stencil_texture():
    """The window stencil over the gate, row 0 at its top."""
    from PIL import Image

    from projector.files.finding import shipped_folder

    stencil = np.asarray(Image.open(shipped_folder("stencil") / "window.png").convert("L"), np.float32) / 255.0
    return mi.Texture2f(mi.TensorXf(stencil[..., None]), wrap_mode=dr.WrapMode.Clamp, filter_mode=dr.FilterMode.Linear)


@dr.syntax
def light_map(scene, texture, side: int, seed: int):
    """Mean over side² stratified pupil points of stencil · visibility · cosines / distance², (HEIGHT · WIDTH,)."""
    texel = dr.arange(mi.UInt32, WIDTH * HEIGHT)
    x = ((texel % WIDTH + 0.5) / WIDTH - 0.5) * MAP_WIDTH
    y = (0.5 - (texel // WIDTH + 0.5) / HEIGHT) * (MAP_WIDTH * HEIGHT / WIDTH)
    place = mi.Point3f(x, y, -BACKDROP)
    random = mi.PCG32(size=WIDTH * HEIGHT, initstate=seed)
    blur = TUBE * (1.0 / FOCUS - 1.0 / BACKDROP)
    total = dr.zeros(mi.Float, WIDTH * HEIGHT)
    sample = mi.UInt32(0)
    while sample < side * side:
        u = (sample % side + random.next_float32()) / side
        v = (sample // side + random.next_float32()) / side
        pupil = mi.warp.square_to_uniform_disk_concentric(mi.Point2f(u, v)) * (0.5 * PUPIL)
        # The gate's frame has y downwards as the bitmap has it; the pupil's and the wall's y go up.
        gate_x = TUBE * x / BACKDROP + blur * pupil.x
        gate_y = -(TUBE * y / BACKDROP + blur * pupil.y)
        lit = gate_x * gate_x + gate_y * gate_y <= GATE_RADIUS * GATE_RADIUS
        passed = texture.eval(mi.Point2f(0.5 + gate_x / (2 * GATE_RADIUS), 0.5 + gate_y / (2 * GATE_RADIUS)), lit)[0]
        lit &= passed > 0.0
        way = mi.Point3f(pupil.x, pupil.y, 0.0) - place
        squared = dr.squared_norm(way)
        blocked = scene.ray_test(mi.Ray3f(o=place, d=way, maxt=0.9999, time=0.0, wavelengths=[]), lit)
        # Both cosines are the depth over the distance.
        total += dr.select(lit & ~blocked, passed * (BACKDROP * BACKDROP) / (squared * squared), 0.0)
        sample += 1
    return total / (side * side)


def theirs():
    """(side, median seconds of 5, relative RMSE) for several numbers of samples, and the converged map."""
    scene, texture = head_scene(), stencil_texture()
    truth = np.mean([np.array(light_map(scene, texture, 16, 1000 + seed)) for seed in range(6)], axis=0)
    lit = truth > 0.02 * truth.max()
    rows = []
    for side in (6, 7, 8, 9):
        seconds, errors = [], []
        for seed in range(6):
            start = time.perf_counter()
            total = light_map(scene, texture, side, seed)
            dr.eval(total)
            dr.sync_thread()
            seconds.append(time.perf_counter() - start)
            errors.append(math.sqrt(np.mean((np.array(total) - truth)[lit] ** 2)) / truth[lit].mean())
        # The first of them compiles.
        rows.append((side, statistics.median(seconds[1:]), statistics.median(errors)))
    return rows, truth


def main() -> None:
    """Print both, how far their maps agree, and the ratio."""
    rows, truth = theirs()
    with tempfile.TemporaryDirectory() as folder:
        seconds, error, picture = ours(Path(folder))
    for side, second, relative in rows:
        print(f"Dr.Jit, {side} × {side} stratified pupil points: {second:.3f} s, relative RMSE {100 * relative:.2f} %")
    # Errors fall along the rows; straight lines between them in logarithms.
    to_one_percent = math.exp(
        np.interp(math.log(0.01), np.log([row[2] for row in rows[::-1]]), np.log([row[1] for row in rows[::-1]]))
    )
    print(f"Dr.Jit to 1 %: {to_one_percent:.3f} s")
    print(f"ours: {seconds:.3f} s, relative RMSE {100 * error:.2f} %")
    lit = truth > 0.02 * truth.max()
    # One number for the two scales; what is left is the difference of the pictures.
    scale = (picture[lit] @ truth[lit]) / (picture[lit] @ picture[lit])
    apart = math.sqrt(np.mean((scale * picture - truth)[lit] ** 2)) / truth[lit].mean()
    print(f"the two maps differ by {100 * apart:.2f} % (relative RMSE over lit texels)")
    print(f"ratio at 1 %: {to_one_percent / seconds:.1f}")


if __name__ == "__main__":
    main()
