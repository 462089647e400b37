"""A picture of the scene as its camera sees it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np

from projector.files.records import check_writable, named_files, png_bytes, record, write_png
from projector.photometry.exposure import picture_scale
from projector.phrases import listed
from projector.rendering.develop import develop
from projector.rendering.kept import Kept
from projector.rendering.sampling import Window, check_counts
from projector.rendering.session import RenderSession
from projector.rendering.workers import Progress, Workers
from projector.scene.model import Scene
from projector.scene.reading.given_overrides import Overrides
from projector.shown import Drawn
from projector.stage.stage import SceneOrStage, Stage, stage_with

# A fine picture is worked on in bands of this many rows, so that its many points need not be held at once.
ROWS_PER_BAND = 240
# Rows round a band whose points say what its own see of other lights.
_ROWS_ROUND_LIGHTS = 4


# The light of so many pixels is kept beside the bytes; of a larger picture, that of every second, third … one.
_MOST_KEPT = 1 << 23
_FLOAT16_LIMIT = float(np.finfo(np.float16).max)


class PictureLight(NamedTuple):
    """The light behind a picture's bytes, of every `step`-th pixel across and down (h', w').

    linear (h', w', 3) float16: linear sRGB, exposed and balanced, before colours outside sRGB are moved and the
    brightest clipped; pattern (h', w') float16: the luminance of projectors' patterns in it; matrix (3, 3): from XYZ in
    lx·s to `linear`; scene: what it is a picture of, with `only` these of its lights (None: all).
    """

    linear: np.ndarray
    pattern: np.ndarray
    step: int
    matrix: np.ndarray
    scene: Scene
    only: frozenset[str] | None


@dataclass(frozen=True, repr=False)
class Picture(Drawn):
    """sRGB pixels (h, w, 3) uint8, the record of how they were made, and the light behind them.

    np.asarray(picture) gives the pixels.
    """

    pixels: np.ndarray
    about: dict
    light: PictureLight

    def _line(self) -> str:
        height, width = self.pixels.shape[:2]
        quality = self.about["settings"]["quality"]
        only = [f"only {listed(self.about['settings']['only'])}"] if "only" in self.about["settings"] else []
        size = f"{self.about['scene']}, {width} × {height} pixels, {quality}"
        return "; ".join((size, *only, *self.about["overrides"]))

    def _repr_png_(self) -> bytes:
        return png_bytes(self.pixels, self.about)

    def __array__(self, dtype=None, copy: bool | None = None) -> np.ndarray:
        return np.array(self.pixels, dtype=dtype, copy=copy)

    def save(self, path, overwrite: bool = False) -> Path:
        """Write a PNG.

        A file that was not made from the same scene is replaced only with overwrite=True (else SceneError).
        """
        (path,) = named_files(path, self.about["scene"], (".png",))
        check_writable([path], self.about["scene"], overwrite)
        write_png(path, self.pixels, self.about)
        return path


def preview(
    scene: SceneOrStage,
    overrides: Overrides = None,
    *,
    only: str | Sequence[str] | None = None,
    width: int = 960,
    height: int = 720,
    quality: str = "fine",
    threads: int | None = None,
    progress: Progress | None = None,
) -> Picture:
    """What the camera sees: width × height pixels, "quick" (6 wavelengths) or "fine" (18, more points a pixel).

    scene: a Scene, a Stage, a file's path or a shipped name; overrides: as `load` takes them; only: the lights to show,
    by name, "ambient" for the room's own. The same scene gives the same bytes for any number of threads. SceneError
    with all faults; workers.Stopped when progress asks to stop.
    """
    check_counts(width=width, height=height)
    stage, settings = stage_with(scene, overrides), {"width": width, "height": height, "quality": quality, "seed": 0}
    if only is not None:
        names = [only] if isinstance(only, str) else list(only)
        stage, settings["only"] = stage.lit_by(*names), names
    with Workers(threads) as workers:
        pixels, light = _in_bands(stage, width, height, quality, workers, progress)
    return Picture(pixels, record(stage.scene, "preview", **settings), light)


def _in_bands(stage: Stage, width: int, height: int, quality: str, workers: Workers, progress: Progress | None):
    """Pixels and their light; of a fine picture in bands of rows, each with a row more on either side: an outline
    between two bands is found by both.
    """
    pixels = np.empty((height, width, 3), np.uint8)
    step = math.ceil(math.sqrt(height * width / _MOST_KEPT))
    linear = np.empty((-(-height // step), -(-width // step), 3), np.float16)
    pattern = np.empty(linear.shape[:2], np.float16)
    rows_per_band, kept = height if quality == "quick" else ROWS_PER_BAND, Kept()
    round_it = _ROWS_ROUND_LIGHTS if stage.lights else 1
    for first in range(0, height, rows_per_band):
        last = min(first + rows_per_band, height)
        window = Window(max(first - round_it, 0), min(last + round_it, height))
        session = RenderSession(stage, width, height, quality, workers, window, kept)
        xyz, matrix = session.exposed(progress)
        rows = slice(first - window.first, last - window.first)
        pixels[first:last] = develop(xyz, matrix, workers)[rows]
        # The first row of the band that is kept, and where those that are kept of it go.
        start, kept_rows = -first % step, slice(-(-first // step), -(-last // step))
        exposed = xyz[rows][start::step, ::step] @ matrix.T.astype(np.float32)
        linear[kept_rows] = np.clip(exposed, -_FLOAT16_LIMIT, _FLOAT16_LIMIT)
        scale = picture_scale(stage.scene.camera.f_number, stage.scene.camera.iso)
        patterns = session.patterns()[rows][start::step, ::step, 1] * scale
        pattern[kept_rows] = np.minimum(patterns, _FLOAT16_LIMIT)
    return pixels, PictureLight(linear, pattern, step, matrix, stage.scene, stage.only)
