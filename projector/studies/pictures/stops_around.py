"""How many stops each place of a picture lies over or under a reference: a grey card, or a place of the picture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from projector.faults import Fault, SceneError
from projector.photometry.colour import SRGB_LUMINANCE
from projector.photometry.exposure import stops_between
from projector.rendering.preview import Picture
from projector.shown import Drawn
from projector.stage.stage import Stage
from projector.studies.edges.profile import NEAR_SURFACE_M, name_of
from projector.studies.pictures.tones import GREY_CARD, title_of
from projector.tracing.rays.bvh import closest_hits

# The reference that is no place of the picture: a grey card in light that the camera is set for.
KEY = "key"
# Bands are a stop wide, the reference in the middle of its own; these many on either side, the outermost open-ended.
BANDS_UNDER, BANDS_OVER = 6, 4


@dataclass(frozen=True, repr=False)
class StopsAround(Drawn):
    """Stops of a picture's luminance against a reference.

    stops (h, w) float32, −inf where it is black; reference: what they are counted from, in words; level: its linear
    luminance in the picture; white_stops: where white is clipped; shares: of the picture in each band of a stop, by its
    middle, from −6 (and all below) to +4 (and all above); place: the pixel (column, row) of the reference, None for a
    card.
    """

    in_one_line = "around {reference}, at {level:.3g} of white"

    stops: np.ndarray
    reference: str
    level: float
    white_stops: float
    shares: dict[int, float]
    title: str
    place: tuple[int, int] | None = None


def stops_around(picture: Picture, around=KEY) -> StopsAround:
    """Stops of each place of a picture against a reference; a large picture thinned out.

    around: "key", a grey card (18 %) in light that the camera is set for; or a landmark or a point (m) that the picture
    shows. SceneError where the picture does not show it, or no light comes from it.

    >>> import projector
    >>> picture = projector.preview("01-square-wall", width=96, height=72, quality="quick")
    >>> stops_around(picture, (0.15, 1.65, 0.0))
    <StopsAround: around (0.15, 1.65, 0.00), at 0.739 of white>
    """
    light = picture.light
    luminance = np.maximum(light.linear.astype(np.float32) @ SRGB_LUMINANCE.astype(np.float32), 0.0)
    place, reference, level = None, "a grey card (18 %) in light that the camera is set for", GREY_CARD
    if not isinstance(around, str) or around != KEY:
        height, width = picture.pixels.shape[:2]
        reference, column, row = seen_at(Stage(light.scene), width, height, around)
        last_row, last_column = luminance.shape[0] - 1, luminance.shape[1] - 1
        place = min(column // light.step, last_column), min(row // light.step, last_row)
        level = float(luminance[place[1], place[0]])
        if not level > 0.0:
            found = f"no light comes from {reference} in this picture: there is nothing to count stops from"
            raise SceneError(Fault(found, 'a point that is lit, or "key"', key="stops_around"))
    stops = stops_between(luminance, level).astype(np.float32)
    bands = np.clip(np.round(stops), -BANDS_UNDER, BANDS_OVER)
    shares = {band: float((bands == band).mean()) for band in range(-BANDS_UNDER, BANDS_OVER + 1)}
    return StopsAround(
        stops=stops,
        reference=reference,
        level=level,
        white_stops=float(stops_between(1.0, level)),
        shares=shares,
        title=title_of(picture),
        place=place,
    )


def seen_at(stage: Stage, width: int, height: int, reference) -> tuple[str, int, int]:
    """What a landmark or a point (m) is called, and the column and row of a picture of width × height pixels that shows
    it. SceneError where it lies outside the picture, or something stands before it.
    """
    camera, goal = stage.camera(width, height), stage.point(reference)
    name, way = name_of(reference, goal), goal - np.array(camera.position)
    x, y, depth = (float(way @ np.array(axis)) for axis in (camera.right, camera.down, camera.forward))

    def refused(found: str) -> SceneError:
        return SceneError(Fault(found, f'a landmark or point that the picture shows, or "{KEY}"', key="stops_around"))

    if not depth > 1e-6:
        raise refused(f"{name} lies behind the camera")
    column = math.floor((x / (depth * camera.half_width) + 1.0) * 0.5 * width)
    row = math.floor((y / (depth * camera.half_height) + 1.0) * 0.5 * height)
    if not (0 <= column < width and 0 <= row < height):
        raise refused(f"{name} lies outside the picture")
    arrays = stage.arrays
    t, faces, u, v = np.empty(1), np.empty(1, np.int32), np.empty(1), np.empty(1)
    origin = np.array([camera.position], float)
    closest_hits(arrays.bvh, origin, np.ascontiguousarray(way[None]), 0.0, 1e6, 0, 1, t, faces, u, v)
    before = float((1.0 - t[0]) * np.linalg.norm(way))
    if faces[0] >= 0 and before > NEAR_SURFACE_M:
        blocker = arrays.names[arrays.surfaces.owners[faces[0]]]
        raise refused(f"the camera does not see {name}: {blocker} is {before:.2f} m before it")
    return name, column, row
