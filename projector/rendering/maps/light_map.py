"""A map of the light on a surface, in SI units, with its extent in metres along it: what it says, and its files."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.records import check_writable, named_files, write_npz, write_tiff
from projector.photometry.exposure import marked_time
from projector.rendering.maps.open_gates import OpenGate
from projector.shown import Drawn

# A map's values twice, and its figure.
MAP_ENDINGS = (".npz", ".tif", ".png")


@dataclass(frozen=True)
class Meter:
    """A flat meter set as the camera is. shutter_s: None where all light is a flash's; open_f_number: what it shows at
    `open_level`.
    """

    iso: float
    shutter_s: float | None
    open_f_number: float

    @property
    def setting(self) -> str:
        """How it is set, in words: ISO 400, 1/60 s."""
        return f"ISO {self.iso:g}" + ("" if self.shutter_s is None else f", {marked_time(self.shutter_s)}")

    def f_number(self, stops):
        """What it shows at light so many stops over the open level, any shape."""
        return self.open_f_number * 2.0 ** (np.asarray(stops, float) / 2.0)


@dataclass(frozen=True, repr=False)
class IrradianceMap(Drawn):
    """Light on a surface, row 0 at its top. np.asarray(map) gives its illuminance.

    irradiance (h, w) float32: W/m², or J/m² of a flash, over 380–730 nm; illuminance (h, w) float32: lx, or lx·s
    stops (h, w) float32: log2 of illuminance over `open_level`, the (brightest) open gate on the axis at the focus
        distance
    extent_m: left, right, bottom, top (m along the surface); axis_labels: what the two axes run along
    is_flash: which of the units hold; is_absolute: False where no reading was given, then only `stops` means anything,
        and is_flash is False, too
    points (h, w, 3) float32 m: where in the world each value lies
    open_gates: what each projector's open gate would give there (none on a body, whose shape says more than the gate);
        height_m: height above the floor where the vertical axis is 0, None where that axis is no height; meter: None
        without absolute light; is_reached: whether any projector's light falls there; reference: whose open gate is
        `open_level`; counted_where: at which place of its axis;
        is_against_a_gate: whether that is a projector's, not another light alone
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
    open_gates: tuple[OpenGate, ...] = ()
    height_m: float | None = None
    meter: Meter | None = None
    is_reached: bool = True
    reference: str | None = None
    counted_where: str = "where it is focused"
    is_against_a_gate: bool = True

    def _line(self) -> str:
        left, right, bottom, top = self.extent_m
        rows, columns = self.illuminance.shape
        size = f"{self.surface}, {right - left:.3f} × {top - bottom:.3f} m, {columns} × {rows} points"
        stops = float(np.nanmax(self.stops))
        if not self.is_reached or not math.isfinite(stops):
            return f"{size}; no light of a projector"
        if self.meter is None:
            return f"{size}; at most {stops:+.1f} stops against {self.compared_with}"
        light = f"{float(np.nanmax(self.illuminance)):.4g} {self.units[1]}"
        return (
            f"{size}; at most {light}, f/{self.meter.f_number(stops):.1f} at {self.meter.setting}, {stops:+.1f} stops"
        )

    def __array__(self, dtype=None, copy: bool | None = None) -> np.ndarray:
        if not self.is_absolute:
            raise SceneError(
                Fault(
                    "this map has no illuminance: not every projector's power is known",
                    "a reading or an output for every projector",
                    "map.stops is against the open gate and needs none",
                )
            )
        return np.array(self.illuminance, dtype=dtype, copy=copy)

    @property
    def compared_with(self) -> str:
        """What stops are counted from, in words."""
        if not self.is_against_a_gate:
            return str(self.reference)
        return f"the open gate of {self.reference}" if self.reference else "the open gate"

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
        """Write stem.npz and stem.tif (32-bit planes in the order that the record names); SceneError before anything is
        lost.
        """
        paths = named_files(stem, self.about["scene"], MAP_ENDINGS)[:2]
        check_writable(paths, self.about["scene"], overwrite)
        planes = {
            name: values
            for name, values in self.arrays().items()
            if values.ndim == 2 and values.shape == self.illuminance.shape
        }
        about = {
            **self.about,
            "planes": list(planes),
            "extent_m": list(self.extent_m),
            "axis_labels": list(self.axis_labels),
        }
        write_npz(paths[0], self.arrays(), about)
        write_tiff(paths[1], np.stack(list(planes.values())), about)
        return paths
