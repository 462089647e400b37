"""Rays a second against Embree, in turns on the same rays: `python benchmarks/rays.py [--quick] [--threads 1 2]`.

A bumpy head stands before a backdrop. Camera: one ray a pixel. Shadow: from what the camera sees of the head to random
points of a 60 mm pupil 1.5 m away. Shuffled: the camera's rays in random order. Embree runs single rays through
embreex. Machines drift, so only the ratios of one run mean something; each figure is the best of interleaved rounds.
"""

from __future__ import annotations

import argparse
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from embreex import rtcore_scene
from embreex.mesh_construction import TriangleMesh

from projector.tracing.rays import bvh

CHUNK = 1 << 14


def bumpy_head(n_triangles: int):
    """(vertices, triangles) of a bumpy ball of 0.12 m radius, about so many triangles, before a backdrop."""
    n_rings = max(8, int((n_triangles / 4) ** 0.5))
    n_sectors = 2 * n_rings
    angles = np.linspace(1e-3, np.pi - 1e-3, n_rings + 1), np.arange(n_sectors) * (2 * np.pi / n_sectors)
    polar, turn = (angle.ravel() for angle in np.meshgrid(*angles, indexing="ij"))
    vertices = np.stack([np.sin(polar) * np.cos(turn), np.cos(polar), np.sin(polar) * np.sin(turn)], axis=-1)
    x, y, z = vertices.T
    bumps = 1 + 0.08 * np.sin(9 * x) * np.cos(8 * y) + 0.03 * np.sin(30 * z * x)
    vertices = 0.12 * vertices * bumps[:, None]
    ring, sector = np.meshgrid(np.arange(n_rings), np.arange(n_sectors), indexing="ij")
    a, b = ring * n_sectors + sector, ring * n_sectors + (sector + 1) % n_sectors
    c, d = a + n_sectors, b + n_sectors
    triangles = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)])
    wall = np.array([[-2, -2, -0.6], [2, -2, -0.6], [2, 2, -0.6], [-2, 2, -0.6]], float)
    quad = np.array([[0, 1, 2], [0, 2, 3]]) + len(vertices)
    return np.concatenate([vertices, wall]), np.concatenate([triangles, quad]).astype(np.int32)


def camera_rays(width: int, height: int):
    """Rays of a pinhole 1.2 m away that frames the head, in float64 that float32 holds exactly."""
    x, y = np.meshgrid((np.arange(width) + 0.5) / width - 0.5, (np.arange(height) + 0.5) / width - 0.5 * height / width)
    directions = np.stack([0.42 * x, -0.42 * y, np.full_like(x, -1.0)], axis=-1).reshape(-1, 3)
    origins = np.broadcast_to([0.0, 0.0, 1.2], directions.shape)
    return origins.astype(np.float32).astype(float), directions.astype(np.float32).astype(float)


def shadow_rays(tree, camera, seed: int = 0):
    """Rays from the camera's hits on the head to random points of a pupil."""
    origins, directions = camera
    n = len(origins)
    t, u, v, faces = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.int32)
    bvh.closest_hits(tree, origins, directions, 0.0, np.inf, 0, n, t, faces, u, v)
    on_head = faces < faces.max() - 1
    points = (origins + t[:, None] * directions)[on_head]
    random = np.random.default_rng(seed)
    radius, turn = 0.03 * np.sqrt(random.random(len(points))), 2 * np.pi * random.random(len(points))
    pupil = np.array([0.9, 0.6, 1.0]) + np.stack([radius * np.cos(turn), radius * np.sin(turn), 0 * turn], -1)
    toward = pupil - points
    starts = points + 1e-4 * toward
    return starts.astype(np.float32).astype(float), toward.astype(np.float32).astype(float)


def ours(tree, rays, shadow: bool):
    """A function that traces one range of the rays with our kernels."""
    origins, directions = rays
    n = len(origins)
    t, u, v, faces, blocked = np.empty(n), np.empty(n), np.empty(n), np.empty(n, np.int32), np.empty(n, bool)
    if shadow:
        return lambda start, stop: bvh.any_hits(tree, origins, directions, 0.0, 1.0, start, stop, blocked)
    return lambda start, stop: bvh.closest_hits(tree, origins, directions, 0.0, np.inf, start, stop, t, faces, u, v)


def embree(scene, rays, shadow: bool):
    """The same with Embree; its closest hits give the triangle only, which is the least that it can be asked for."""
    origins, directions = (array.astype(np.float32) for array in rays)
    limits = np.full(len(origins), 1.0 if shadow else 1e30, np.float32)
    query = "OCCLUDED" if shadow else "INTERSECT"

    def run(start, stop):
        return scene.run(origins[start:stop], directions[start:stop], dists=limits[start:stop], query=query)

    return run


def seconds_of(trace, n_rays: int, n_threads: int) -> float:
    """Wall time of all the rays, in chunks from a pool."""
    starts = range(0, n_rays, CHUNK)
    began = time.perf_counter()
    if n_threads == 1:
        for start in starts:
            trace(start, min(start + CHUNK, n_rays))
    else:
        with ThreadPoolExecutor(n_threads) as pool:
            list(pool.map(lambda start: trace(start, min(start + CHUNK, n_rays)), starts))
    return time.perf_counter() - began


def measure(name, size, both, n_rays, threads, n_rounds):
    """Print one line of the table for each number of threads."""
    for n_threads in threads:
        best = [np.inf, np.inf]
        for _ in range(n_rounds):
            for index, trace in enumerate(both):
                best[index] = min(best[index], seconds_of(trace, n_rays, n_threads))
        rates = [n_rays / seconds / 1e6 for seconds in best]
        figures = f"{rates[0]:>9.2f}{rates[1]:>9.2f}{rates[0] / rates[1]:>8.2f}"
        print(f"{size:>6}     {name:<20}{n_threads:>3}{figures}", flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--threads", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--quick", action="store_true", help="a quarter of the rays, two rounds, no 1 M")
    options = parser.parse_args()
    width, height, n_rounds = (640, 480, 2) if options.quick else (1280, 960, 3)
    bvh.build_bvh(*bumpy_head(1000))
    print("triangles  rays                thr  Mrays/s   Embree   ratio")
    for size, n_triangles in {"20 k": 20_000, "200 k": 200_000, "1 M": 1_000_000}.items():
        if options.quick and size == "1 M":
            continue
        vertices, triangles = bumpy_head(n_triangles)
        began = time.perf_counter()
        tree = bvh.build_bvh(vertices, triangles)
        built = time.perf_counter()
        scene = rtcore_scene.EmbreeScene()
        TriangleMesh(scene, vertices.astype(np.float32), triangles)
        camera = camera_rays(width, height)
        scene.run(*(array[:1].astype(np.float32) for array in camera))
        print(f"{size:>6}  build: {built - began:.2f} s, Embree {time.perf_counter() - built:.2f} s")
        shadow = shadow_rays(tree, camera)
        shuffle = np.random.default_rng(1).permutation(len(camera[0]))
        shuffled = tuple(array[shuffle] for array in camera)
        for name, rays, is_shadow in (
            ("camera, closest", camera, False),
            ("head shadow, any", shadow, True),
            ("shuffled, closest", shuffled, False),
        ):
            both = ours(tree, rays, is_shadow), embree(scene, rays, is_shadow)
            measure(name, size, both, len(rays[0]), options.threads, n_rounds)


if __name__ == "__main__":
    main()
