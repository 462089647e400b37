"""How much light lands on a surface: a map in SI units, with its extent in metres along the surface."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from projector.files.records import record
from projector.photometry.exposure import f_number_for_light
from projector.photometry.spectra import N_WAVELENGTHS
from projector.rendering import prepared_light
from projector.rendering.ambient import LightLevel, light_at_its_aim, open_gate_light, room_light, room_spectrum
from projector.rendering.area_light import Rows, received, received_by_rays
from projector.rendering.maps.light_map import IrradianceMap, Meter
from projector.rendering.maps.map_grid import MapGrid, map_grid
from projector.rendering.maps.open_gates import OpenGate, open_gate
from projector.rendering.sampling import check_counts, quality_called
from projector.rendering.shadows import find_visibility
from projector.rendering.workers import Progress, Workers
from projector.scene.model.named import Named
from projector.scene.placement import SeenLayout, layout_of
from projector.scene.reading.given_overrides import Overrides
from projector.stage.stage import SceneOrStage, Stage, StagedLight, stage_with
from projector.stage.surfaces import SceneArrays
from projector.tracing.light.reference import add_light_by_rays
from projector.tracing.rays.first_hits import NOTHING

# Cells along each side of the pupil where a shadow crosses it: a map is measured, so it gets more than a picture.
MAP_N_SIDE = 8


def irradiance_map(
    scene: SceneOrStage,
    surface: str | None = None,
    n_across: int = 960,
    quality: str = "fine",
    threads: int | None = None,
    progress: Progress | None = None,
    n_rays_side: int | None = None,
    seed: int = 0,
    seen_by: str | None = None,
    *,
    overrides: Overrides = None,
) -> IrradianceMap:
    """The light on one surface ("backdrop", a box's face as "table.top"; a scene's only surface need not be named).

    scene: a Scene, a Stage, a file's path or a shipped name; overrides: as `load` takes them. n_across: points across.
    With n_rays_side the slow reference is used instead: n_rays_side² rays a point, by `seed`. A mesh or a figure is
    mapped as a projector sees it, cropped to it: as `seen_by`, or the one that sees most of it. SceneError for a
    surface that is not there, NotSeen for a mesh or a figure that no projector sees.
    """
    check_counts(n_across=n_across)
    stage = stage_with(scene, overrides)
    layout = layout_of(stage.scene, surface)
    grid = map_grid(stage, layout, n_across, seen_by)
    with Workers(threads) as workers:
        tracing = _Tracing(quality_called(quality).n_wavelengths, n_rays_side, seed, workers, progress)
        out = _projected(stage, grid, tracing)
    is_reached, room = bool((out[:, 1] > 0.0).any()), room_light(stage)
    if room is not None:
        out += room_spectrum(stage.scene, _counted(stage, room)) @ prepared_light.MAP_CHANNELS
    # A body that a projector sees fills part of its map only.
    missed, points = (grid.points.materials == NOTHING)[:, None], grid.points
    out, positions, normals = (
        np.where(missed, np.nan, values).reshape(*grid.shape, -1) for values in (out, points.positions, points.normals)
    )
    out, scale = out.astype(np.float32), _scale(stage, room)
    settings = {"n_across": n_across, "quality": quality, "rays": n_rays_side, "seed": seed}
    return IrradianceMap(
        irradiance=out[..., 0],
        illuminance=out[..., 1],
        open_level=scale.open_level,
        extent_m=tuple(float(value) for value in grid.extent_m),
        axis_labels=grid.axis_labels,
        surface=layout.name,
        is_flash=scale.is_flash,
        is_absolute=scale.meter is not None,
        points=positions.astype(np.float32),
        about=record(stage.scene, "map", surface=layout.name, **settings),
        open_gates=() if isinstance(layout, SeenLayout) else _open_gates(stage, positions, normals, scale.open_level),
        height_m=None if isinstance(layout, SeenLayout) else layout.height_m,
        meter=scale.meter,
        is_reached=is_reached,
        reference=scale.reference,
        is_against_a_gate=not _is_other_light(stage, scale.reference),
        counted_where="where it aims" if _is_bare(stage, scale.reference) else "where it is focused",
    )


class _Tracing(NamedTuple):
    """How a map's light is found: wavelengths, rays along a side of the pupil (None: the fast way) and their seed, and
    who works.
    """

    n_wavelengths: int
    n_rays_side: int | None
    seed: int
    workers: Workers
    progress: Progress | None


def _projected(stage: Stage, grid: MapGrid, tracing: _Tracing) -> np.ndarray:
    """All lights together on a map's points (n, 2), by MAP_CHANNELS: W/m² and lx, or J/m² and lx·s."""
    out = np.zeros((len(grid.points.positions), 2))
    for staged in stage.projectors:
        prepared = prepared_light.prepare_light(stage, staged, tracing.n_wavelengths, tracing.workers.threads)
        factor = _counted(stage, LightLevel(1.0, prepared.power.is_flash))
        weights = prepared.weights(np.ones((1, N_WAVELENGTHS)), prepared_light.MAP_CHANNELS) * factor
        add = _add_fast if tracing.n_rays_side is None else _add_by_rays
        add(prepared, stage.arrays, grid, weights, tracing, out)
    for light in stage.lights:
        unit = light.power.spectrum @ prepared_light.MAP_CHANNELS
        unit = unit * _counted(stage, LightLevel(1.0, light.power.is_flash))
        out += _of_other_light(stage.arrays, light, grid, tracing)[:, None] * unit
    return out


def _of_other_light(arrays: SceneArrays, light: StagedLight, grid: MapGrid, tracing: _Tracing) -> np.ndarray:
    """What a map's points get of a light without a gate, over its luminance (n,) sr."""
    if tracing.n_rays_side is not None:
        n_side, seed = tracing.n_rays_side, tracing.seed
        return received_by_rays(arrays, light.shine, grid.points, n_side, seed, tracing.workers, tracing.progress)
    rows = Rows(grid.shape[1])
    return received(arrays, light.shine, grid.points, tracing.workers, tracing.progress, rows=rows).value


def _add_fast(prepared, arrays: SceneArrays, grid: MapGrid, weights, tracing: _Tracing, out) -> None:
    """Add one projector's light by look-ups."""
    points, workers, progress = grid.points, tracing.workers, tracing.progress
    squares = prepared_light.squares_seen_by(prepared.light.emitter, points, grid.shape[1], workers, grid.is_plane)
    visibility = find_visibility(arrays, prepared.light, points, MAP_N_SIDE, workers, progress, prepared.image, squares)
    reach = prepared_light.reach_of(prepared.light.emitter, points, visibility.state)
    with prepared_light.stacks_ready(prepared, reach) as stacks:
        prepared_light.light_points(prepared, points, visibility, stacks, weights, out, workers, progress, squares)


def _add_by_rays(prepared, arrays: SceneArrays, grid: MapGrid, weights, tracing: _Tracing, out) -> None:
    """Add one projector's light a ray at a time."""
    light, points, n_side, seed = prepared.light, grid.points, tracing.n_rays_side, tracing.seed

    def work(start, stop):
        add_light_by_rays(light, arrays.bvh, points, weights, n_side, seed, start, stop, out)

    tracing.workers.run_pieces(len(out), work, "rays", tracing.progress, piece=2048)


def _open_gates(stage: Stage, positions, normals, open_level: float) -> tuple[OpenGate, ...]:
    """Every projector's open gate on the points of a map."""
    return tuple(
        open_gate(staged, positions, normals, open_level, lambda light: _counted(stage, light))
        for staged in stage.projectors
    )


def _is_bare(stage: Stage, name: str | None) -> bool:
    """Whether the light of that name has no lens, and nothing to be focused."""
    return name is not None and (_is_other_light(stage, name) or stage.projector(name).spec.lens is None)


def _is_other_light(stage: Stage, name: str | None) -> bool:
    """Whether a light of that name has no gate."""
    return name in Named(stage.scene.light).names


class _Scale(NamedTuple):
    """What a map's light is counted in: stop 0 and whose open gate it is, whether of a flash, and a meter if it is
    known in SI.
    """

    open_level: float
    reference: str | None
    is_flash: bool
    meter: Meter | None


def _scale(stage: Stage, room: LightLevel | None) -> _Scale:
    """Stops count from the brightest open gate; of two alike from the first by name, so that the order in the file
    plays no part.
    """
    gates = {staged.name: open_gate_light(stage, staged) for staged in stage.projectors}
    others = {light.name: light_at_its_aim(light) for light in stage.lights}
    kinds = {light.is_flash for light in (*gates.values(), *others.values(), *([room] if room else []))}
    is_stated = all(light.power.is_stated for light in (*stage.projectors, *stage.lights))
    # Where no projector is, the other lights' own aims stand for open gates.
    gates = gates or others
    reference = max(sorted(gates), key=lambda name: _counted(stage, gates[name]), default=None)
    level = _counted(stage, gates[reference]) if reference else 1.0 if room is None else room.level
    if not kinds or not is_stated:
        # Where nothing says how bright a light is, nothing says either whether it flashes.
        return _Scale(level, reference, False, None)
    return _Scale(level, reference, True in kinds, _meter(stage.scene, level, kinds))


def _meter(scene, open_level: float, kinds: set) -> Meter:
    """What a flat meter set as the camera shows at the open level.

    Where flash and steady light add up, the level counts both.
    """
    iso, shutter_s = scene.camera.iso, scene.camera.shutter_s
    f_number = f_number_for_light(open_level, iso, None if True in kinds else shutter_s)
    return Meter(iso, shutter_s if False in kinds else None, float(f_number))


def _counted(stage: Stage, light: LightLevel) -> float:
    """A level in the map's unit: lx, or lx·s where any projector is a flash, so that both add up: steady light then
    counts for the camera's shutter.
    """
    any_flash = any(light.power.is_flash for light in (*stage.projectors, *stage.lights))
    return light.during(stage.scene.camera.shutter_s) if any_flash else light.level
