"""How much light lands on a surface: a map in SI units, with its extent in metres along the surface."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.photometry.spectra import N_WAVELENGTHS
from projector.rendering import prepared_light
from projector.rendering.ambient import LightLevel, open_gate_light, room_light, room_spectrum
from projector.rendering.files import check_writable, named_files, record, write_npz, write_tiff
from projector.rendering.point_sets import QUALITIES
from projector.rendering.shadows import find_visibility
from projector.rendering.tiles import Progress, Workers
from projector.scene.faults import Fault, SceneError
from projector.scene.placement import SeenLayout, layout_of
from projector.tracing.arrays import scene_arrays
from projector.tracing.first_hits import NOTHING
from projector.tracing.points import Points
from projector.tracing.reference import add_light_by_rays

# Cells along each side of the pupil where a shadow crosses it: a map is measured, so it gets more than a picture.
MAP_N_SIDE = 8
# A map's values twice, and its figure.
MAP_ENDINGS = (".npz", ".tif", ".png")
_LIFT = 2e-6


@dataclass(frozen=True)
class IrradianceMap:
    """Light on a surface, row 0 at its top.

    irradiance (h, w) float32: W/m², or J/m² of a flash, over 380–730 nm; illuminance (h, w) float32: lx, or lx·s
    stops (h, w) float32: log2 of illuminance over `open_level`, the (brightest) open gate on the axis at the focus distance
    extent_m: left, right, bottom, top (m along the surface); axis_labels: what the two axes run along
    is_flash: which of the units hold; is_absolute: False where no reading was given, then only `stops` means anything
    points (h, w, 3) float32 m: where in the world each value lies
    """

    irradiance: np.ndarray
    illuminance: np.ndarray
    open_level: float
    extent_m: tuple[float, float, float, float]
    axis_labels: tuple[str, str]
    surface: str
    is_flash: bool
    is_absolute: bool
    points: np.ndarray
    about: dict

    @property
    def stops(self) -> np.ndarray:
        """Stops against the open gate on the axis at the focus distance; −inf where no light comes."""
        with np.errstate(divide="ignore"):
            return np.log2(self.illuminance / np.float32(self.open_level))

    @property
    def units(self) -> tuple[str, str]:
        """Units of irradiance and illuminance."""
        return ("J/m²", "lx·s") if self.is_flash else ("W/m²", "lx")

    def arrays(self) -> dict:
        """What a file holds, by name, with units in the names."""
        kept = {"stops": self.stops, "extent_m": np.array(self.extent_m), "points_m": self.points}
        if self.is_absolute:
            power, light = ("J_per_m2", "lx_s") if self.is_flash else ("W_per_m2", "lx")
            kept[f"irradiance_{power}"] = self.irradiance
            kept[f"illuminance_{light}"] = self.illuminance
            kept[f"open_gate_level_{light}"] = np.array(self.open_level)
        return kept

    def save(self, stem, overwrite: bool = False) -> list[Path]:
        """Write stem.npz and stem.tif (32-bit planes in the order that the record names); SceneError before anything is lost."""
        paths = named_files(stem, self.about["scene"], MAP_ENDINGS)[:2]
        check_writable(paths, self.about["scene"], overwrite)
        planes = {name: values for name, values in self.arrays().items() if values.ndim == 2 and values.shape == self.illuminance.shape}
        about = {**self.about, "planes": list(planes), "extent_m": list(self.extent_m), "axis_labels": list(self.axis_labels)}
        write_npz(paths[0], self.arrays(), about)
        write_tiff(paths[1], np.stack(list(planes.values())), about)
        return paths


def irradiance_map(
    scene,
    surface: str | None = None,
    n_across: int = 960,
    quality: str = "fine",
    threads: int | None = None,
    progress: Progress | None = None,
    n_rays_side: int | None = None,
    seed: int = 0,
) -> IrradianceMap:
    """The light on one surface ("backdrop", a box's face as "table.top"; without a name the scene's first surface).

    n_across: points across. With n_rays_side the slow reference is used instead: n_rays_side² rays a point, by `seed`.
    Raises SceneError for a surface that is not there.
    """
    layout = layout_of(scene, surface)
    with Workers(threads) as workers:
        arrays = scene_arrays(scene)
        is_seen = isinstance(layout, SeenLayout)
        if is_seen:
            points, shape, extent = _seen_points(scene, arrays, layout, n_across)
        else:
            points, shape, extent = _laid_out_points(layout, n_across)
        out = np.zeros((shape[0] * shape[1], 3))
        kinds = set()
        levels = []
        for spec in scene.projector:
            prepared = prepared_light.prepare_light(scene, spec, QUALITIES[quality].n_wavelengths, workers.threads)
            kinds.add(prepared.power.is_flash)
            factor = _counted(scene, LightLevel(1.0, prepared.power.is_flash))
            weights = prepared.weights(np.ones((1, N_WAVELENGTHS)), prepared_light.MAP_CHANNELS) * factor
            levels.append(_counted(scene, open_gate_light(scene, spec)))
            if n_rays_side is None:
                squares = prepared_light.squares_seen_by(prepared.light, points, shape[1], workers, not is_seen and layout.spec.shape in ("flat", "box"))
                visibility = find_visibility(arrays, prepared.light, points, MAP_N_SIDE, workers, progress, prepared.image, squares)
                stacks = prepared_light.stacks_ready(prepared, prepared_light.reach_of(prepared.light, points, visibility.state))
                prepared_light.light_points(prepared, points, visibility, stacks, weights, out, workers, progress, squares)
            else:
                _by_rays(prepared, arrays, points, weights, n_rays_side, seed, out, workers, progress)
        room = room_light(scene)
        if room is not None:
            kinds.add(room.is_flash)
            out += room_spectrum(scene, _counted(scene, room)) @ prepared_light.MAP_CHANNELS
    # A mesh that the first projector sees fills part of its map only.
    missed = (points.materials == NOTHING)[:, None]
    out = np.where(missed, np.nan, out).reshape(*shape, 3).astype(np.float32)
    return IrradianceMap(
        out[..., 0],
        out[..., 1],
        max(levels, default=1.0 if room is None else room.level),
        tuple(float(value) for value in extent),
        tuple(layout.axis_labels),
        layout.name,
        True in kinds,
        all(item.reading is not None or item.output is not None for item in scene.projector) and bool(scene.projector or room),
        np.where(missed, np.float32(np.nan), points.positions).reshape(*shape, 3),
        record(scene, "map", surface=layout.name, n_across=n_across, quality=quality, rays=n_rays_side, seed=seed),
    )


def _any_flash(scene) -> bool:
    """Whether any projector is a flash: steady light then counts for the camera's shutter, so that both add up."""
    for spec in scene.projector:
        steady = (spec.reading is not None and spec.reading.shutter_s is not None) or (spec.output is not None and spec.output.lumens is not None)
        if not steady:
            return True
    return False


def _counted(scene, light: LightLevel) -> float:
    """A level in the map's unit: lx, or lx·s where any projector is a flash."""
    return light.during(scene.camera.shutter_s) if _any_flash(scene) else light.level


def _laid_out_points(layout, n_across: int):
    """The points of a surface that is unrolled as a map, their rows and columns, and its extent."""
    positions, normals = layout.grid(n_across)
    shape = positions.shape[:2]
    return surface_points(positions.reshape(-1, 3), normals.reshape(-1, 3), layout.facets_rise_m), shape, layout.extent_m


def surface_points(positions: np.ndarray, normals: np.ndarray, facets_rise_m: float = 0.0) -> Points:
    """Places (n, 3) m with the normals (n, 3) of the side that is lit, ready for kernels.

    facets_rise_m: how far the facets of the surface rise over it at most; shadow rays start over them.
    """
    count = len(positions)
    lift = _LIFT * (1.0 + np.abs(positions).sum(axis=1, keepdims=True)) + facets_rise_m
    normals = normals.astype(np.float32)
    origins = (positions + lift * normals).astype(np.float32)
    return Points(positions.astype(np.float32), normals, normals, origins, np.zeros(count, np.float32), np.zeros(count, np.int32))


def _by_rays(prepared, arrays, points, weights, n_side, seed, out, workers, progress):
    def work(start, stop):
        add_light_by_rays(prepared.light, arrays.bvh, points, weights, n_side, seed, start, stop, out)

    workers.run_pieces(len(out), work, "rays", progress, piece=2048)


def _seen_points(scene, arrays, layout, n_across: int):
    """A mesh has no map of its own: its points as the first projector sees them, of no material where it sees something else."""
    from projector.tracing.seen_from import points_seen_from

    if not scene.projector:
        raise SceneError(Fault(found="a mesh is mapped as the first projector sees it, and the scene has none", allowed="a scene with a projector"))
    return points_seen_from(scene, scene.projector[0], arrays, arrays.names.index(layout.name), n_across)
