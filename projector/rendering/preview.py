"""A picture of the scene as its camera sees it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from projector.files.records import check_writable, named_files, png_bytes, record, write_png
from projector.rendering.kept import Kept
from projector.rendering.sampling import Window, check_counts
from projector.rendering.session import RenderSession
from projector.rendering.workers import Progress, Workers
from projector.scene.reading.given_overrides import Overrides
from projector.shown import Drawn
from projector.stage.stage import SceneOrStage, Stage, stage_with

# A fine picture is worked on in bands of this many rows, so that its many points need not be held at once.
ROWS_PER_BAND = 240


@dataclass(frozen=True, repr=False)
class Picture(Drawn):
    """sRGB pixels (h, w, 3) uint8 and the record of how they were made.

    np.asarray(picture) gives the pixels.
    """

    pixels: np.ndarray
    about: dict

    def _line(self) -> str:
        height, width = self.pixels.shape[:2]
        quality = self.about["settings"]["quality"]
        return "; ".join((f"{self.about['scene']}, {width} × {height} pixels, {quality}", *self.about["overrides"]))

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
    width: int = 960,
    height: int = 720,
    quality: str = "fine",
    threads: int | None = None,
    progress: Progress | None = None,
) -> Picture:
    """What the camera sees: width × height pixels, "quick" (6 wavelengths) or "fine" (18, more points a pixel).

    scene: a Scene, a Stage, a file's path or a shipped name; overrides: as `load` takes them. The same scene gives the
    same bytes for any number of threads. SceneError with all faults; workers.Stopped when progress asks to stop.
    """
    check_counts(width=width, height=height)
    stage = stage_with(scene, overrides)
    about = record(stage.scene, "preview", width=width, height=height, quality=quality, seed=0)
    with Workers(threads) as workers:
        if quality == "quick":
            pixels = RenderSession(stage, width, height, quality, workers).rgb_bytes(progress)
        else:
            pixels = _in_bands(stage, width, height, quality, workers, progress)
    return Picture(pixels, about)


def _in_bands(stage: Stage, width: int, height: int, quality: str, workers: Workers, progress: Progress | None):
    """Bands of rows, each with a row more on either side: an outline between two bands is found by both."""
    pixels = np.empty((height, width, 3), np.uint8)
    kept = Kept()
    for first in range(0, height, ROWS_PER_BAND):
        last = min(first + ROWS_PER_BAND, height)
        window = Window(max(first - 1, 0), min(last + 1, height))
        session = RenderSession(stage, width, height, quality, workers, window, kept)
        band = session.rgb_bytes(progress)
        pixels[first:last] = band[first - window.first : last - window.first]
    return pixels
