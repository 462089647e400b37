"""Seconds for a picture in haze, all anew, and how far its air is off: against one ray at a time in the same run.

    python benchmarks/haze.py                      480 × 360 of a shipped scene in haze that takes 10 % over 4 m
    python benchmarks/haze.py SCENE WIDTH SAMPLES  another one

The error is the relative RMSE of the luminance that the air alone sends, over pixels above 2 % of the brightest
hundredth, the references' own noise taken out by two of them. Machines differ: only figures of one run compare.
"""

from __future__ import annotations

import math
import sys
import time

import numpy as np

REPEATS = 5


def seconds_all_anew(scene, width: int, height: int) -> list[float]:
    """Seconds of pictures that share nothing but stacks and compiled kernels."""
    from projector.rendering.session import RenderSession

    taken = []
    for _ in range(REPEATS + 1):
        start = time.perf_counter()
        RenderSession(scene, width, height).rgb_bytes()
        taken.append(time.perf_counter() - start)
    return taken[1:]


def air_alone(scene, width: int, height: int) -> np.ndarray:
    """Luminance (h, w) of the picture with black surfaces and no light of the room."""
    from projector.rendering.session import RenderSession
    from projector.scene.reading.reader import with_overrides

    things = [*(("surface", item) for item in scene.surface), *(("figure", item) for item in scene.figure)]
    black = {f"{kind}.{item.name}.reflectance": 0.0 for kind, item in things if item.colour is None}
    session = RenderSession(with_overrides(scene, black), width, height)
    return session.exposed()[0][..., 1]


def air_by_rays(scene, width: int, height: int, n_samples: int, seed: int) -> np.ndarray:
    """The same through the middles of the pixels by so many rays each."""
    from projector.rendering import prepared_light, sampling
    from projector.rendering.haze.view_rays import directions_through, ends_of
    from projector.rendering.workers import Workers
    from projector.stage.haze import air_of
    from projector.stage.stage import Stage
    from projector.tracing.light.air_reference import add_haze_by_rays

    stage, window, quality = Stage(scene), sampling.Window(0, height), sampling.QUALITIES["quick"]
    camera, air, out = stage.camera(width, height), air_of(scene), np.zeros((width * height, 3))
    with Workers() as workers:
        grid = sampling.grid_points(stage.arrays, camera, window, quality, workers)
        directions = directions_through(camera, *sampling.places_of(grid, camera, window, quality))
        inputs = (stage.arrays.bvh, air, tuple(camera.position), directions, ends_of(grid, camera, air))
        for staged in stage.projectors:
            source = prepared_light.light_source(staged, 3)
            weights = source.weights(np.ones((1, 71)), prepared_light.XYZ_CHANNELS)
            light = (source.light, *inputs, weights, n_samples, seed)
            workers.run_pieces(
                len(out), lambda start, stop, light=light: add_haze_by_rays(*light, start, stop, out), piece=512
            )
    return out.reshape(height, width, 3)[..., 1]


def main(name: str = "03-cabin-window", width: str = "480", samples: str = "512") -> None:
    """Print both."""
    from projector.scene.reading.reader import load, with_overrides

    scene = with_overrides(load(name), ["haze={loss_percent=10.0, over_m=4.0}"])
    scene = scene.model_copy(update={"ambient": None})
    size = (int(width), int(width) * 3 // 4)
    taken = seconds_all_anew(scene, *size)
    print(f"{name} in haze, {size[0]} × {size[1]}, all anew: {min(taken):.2f} to {max(taken):.2f} s")
    found, (first, second) = air_alone(scene, *size), (air_by_rays(scene, *size, int(samples), seed) for seed in (1, 2))
    mean = 0.5 * (first + second)
    lit = mean > 0.02 * np.percentile(mean, 99)
    squared = float(np.mean(((found - first) * (found - second))[lit]))
    noise = math.sqrt(float(np.mean((first - second)[lit] ** 2)) / 4.0) / found[lit].mean()
    error = math.sqrt(max(squared, 0.0)) / found[lit].mean()
    print(f"its air against {samples} rays a pixel: {100.0 * error:.2f} % (these scatter by {100.0 * noise:.1f} %)")


if __name__ == "__main__":
    main(*sys.argv[1:])
