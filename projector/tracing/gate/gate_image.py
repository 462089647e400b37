"""The lit gate as one picture: stencil, gate edge and hot spot multiplied, with flags that say where it is even.

Gate coordinates are metres in the gate plane in the bitmap's upright sense: x to the right and y down, as landed.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple

import numpy as np

from projector.jit import formula, kernel

# A bitmap coarser than this across the gate is drawn finer, so that the gate's own edge stays an edge; a gate that is a
# slit has pixels across it too. One whose lit part is finer than this is drawn coarser: no lens shows such detail.
FEWEST_PIXELS, _FEWEST_ACROSS, MOST_PIXELS = 1024, 64, 4096
# Pixels across a small opening, as far as cutting each of the bitmap's into so many along a side gives them.
_FEWEST_LIT, _MOST_CUTS = 256, 4
BLOCK = 8
HAS_SHADE, HAS_LIGHT = 1, 2


class GateOpening(NamedTuple):
    """The opening that holds the stencil: half sizes in metres (round: both the radius) and its hot spot.

    norm: the distance (m) from the axis that counts as r = 1: half the width, half the diagonal of a rectangle.
    falloff_stops: how much dimmer the light is at r = 1 than on the axis.
    """

    is_round: bool
    half_width: float
    half_height: float
    norm: float
    falloff_stops: float


class Bitmap(NamedTuple):
    """A stencil in the gate: transmission (h, w) float32, row 0 at the top, and its pixel pitch (m), centred on the
    axis.
    """

    transmission: np.ndarray
    pitch: float


class GateImage(NamedTuple):
    """Relative radiance over the gate: values (h, w) float32, pitch (m), x and y (m) of the first pixel's centre.

    flags, flag_offsets, flag_shapes: a pyramid over blocks of 8, 16, 32 … pixels that says whether any is below full
    light (HAS_SHADE) and any above none (HAS_LIGHT).
    """

    values: np.ndarray
    pitch: float
    left: float
    top: float
    flags: np.ndarray
    flag_offsets: np.ndarray
    flag_shapes: np.ndarray

    @property
    def n_bytes(self) -> int:
        """Memory that it takes."""
        return self.values.nbytes + self.flags.nbytes


def round_gate(diameter: float, falloff_stops: float = 0.0) -> GateOpening:
    """A round gate of a diameter in metres."""
    return GateOpening(True, 0.5 * diameter, 0.5 * diameter, 0.5 * diameter, falloff_stops)


def rectangular_gate(width: float, height: float, falloff_stops: float = 0.0) -> GateOpening:
    """A rectangular gate, metres."""
    return GateOpening(False, 0.5 * width, 0.5 * height, 0.5 * math.hypot(width, height), falloff_stops)


def gate_area(gate: GateOpening) -> float:
    """Area (m²) of the opening."""
    return (math.pi if gate.is_round else 4.0) * (gate.half_width * gate.half_height)


@formula
def is_inside_gate(gate, x, y):
    """Whether a point of the gate plane (m) lies in the opening; its border does. Numbers or arrays."""
    if gate.is_round:
        return x * x + y * y <= gate.half_width * gate.half_width
    return (abs(x) <= gate.half_width) & (abs(y) <= gate.half_height)


@formula
def hot_spot(gate, x, y):
    """Radiance at a point (m) of the gate over that on the axis: 2^(−stops · r²). Numbers or arrays."""
    if gate.falloff_stops == 0.0:
        return 1.0
    return np.exp2(-gate.falloff_stops * (x * x + y * y) / (gate.norm * gate.norm))


@formula
def bitmap_value(bitmap, x, y):
    """Transmission at a point of the gate plane (m), linear between pixel centres; outside the bitmap is metal."""
    height, width = bitmap.transmission.shape
    column = x / bitmap.pitch + 0.5 * (width - 1)
    row = y / bitmap.pitch + 0.5 * (height - 1)
    if not (column > -1.0 and row > -1.0 and column < width and row < height):
        return 0.0
    left = math.floor(column)
    top = math.floor(row)
    right_share = column - left
    lower_share = row - top
    j = int(left)
    i = int(top)
    total = 0.0
    if i >= 0:
        if j >= 0:
            total += (1.0 - lower_share) * (1.0 - right_share) * bitmap.transmission[i, j]
        if j + 1 < width:
            total += (1.0 - lower_share) * right_share * bitmap.transmission[i, j + 1]
    if i + 1 < height:
        if j >= 0:
            total += lower_share * (1.0 - right_share) * bitmap.transmission[i + 1, j]
        if j + 1 < width:
            total += lower_share * right_share * bitmap.transmission[i + 1, j + 1]
    return total


def open_bitmap(gate: GateOpening) -> Bitmap:
    """A gate without a stencil: one that is open well past the gate's edge."""
    pitch = 2.0 * max(gate.half_width, gate.half_height)
    return Bitmap(np.ones((3, 3), np.float32), pitch)


def draw_gate(gate: GateOpening, bitmap: Bitmap, threads: int = 1) -> GateImage:
    """The gate's picture where it is lit: at the bitmap's own pitch, a whole fraction of it or, of a very large one, a
    multiple.
    """
    lit = _lit_box(gate, bitmap)
    finer, coarser = _fineness(gate, bitmap, max(lit[1] - lit[0], lit[3] - lit[2]))
    pitch = bitmap.pitch / finer * coarser
    rows, columns = bitmap.transmission.shape
    x = _cropped_axis(-(-columns * finer // coarser), pitch, lit[0], lit[1])
    y = _cropped_axis(-(-rows * finer // coarser), pitch, lit[2], lit[3])
    # One pixel of metal all round, so that the picture ends as the bitmap does.
    values = np.zeros((y.size + 2, x.size + 2), np.float32)
    lit_rows, lit_columns = np.zeros(y.size + 2, np.bool_), np.zeros(x.size + 2, np.bool_)
    if finer == coarser == 1:
        first_row, first_column = (
            round(axis[0] / pitch + 0.5 * (count - 1)) for axis, count in ((y, rows), (x, columns))
        )

        def draw(start, stop):
            _draw_as_it_is(
                gate,
                bitmap,
                pitch,
                max(first_row, 0),
                max(first_column, 0),
                x,
                y,
                start,
                stop,
                values,
                lit_rows,
                lit_columns,
            )

    else:

        def draw(start, stop):
            _draw_anew(gate, bitmap, pitch, coarser, x, y, start, stop, values, lit_rows, lit_columns)

    bounds = [y.size * part // (4 * threads) for part in range(4 * threads + 1)]
    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(draw, bounds[:-1], bounds[1:]))
    top, left, values = _lit_part(values, lit_rows, lit_columns)
    return GateImage(
        values, pitch, float(x[0]) + (left - 1) * pitch, float(y[0]) + (top - 1) * pitch, *_flag_pyramid(values)
    )


def _lit_box(gate: GateOpening, bitmap: Bitmap) -> tuple[float, float, float, float]:
    """Left, right, top and bottom (m) of what may be lit: the bitmap's light as far as the gate is open there."""
    bounds = []
    for axis, half in ((0, gate.half_width), (1, gate.half_height)):
        lit = np.flatnonzero(bitmap.transmission.max(axis=axis) > 0.0)
        if lit.size == 0:
            return 0.0, 0.0, 0.0, 0.0
        middle = 0.5 * (bitmap.transmission.shape[1 - axis] - 1)
        # Straight from a lit pixel's centre down to that of a dark neighbour.
        low, high = (lit[0] - 1 - middle) * bitmap.pitch, (lit[-1] + 1 - middle) * bitmap.pitch
        bounds += [min(max(low, -half), half), min(max(high, -half), half)]
    return tuple(bounds)


def _fineness(gate: GateOpening, bitmap: Bitmap, extent: float) -> tuple[int, int]:
    """Into how many pixels each of the bitmap's is cut along a side, and how many of them then make one of the gate's
    picture.

    extent: size of the lit part, m
    """
    span, narrow = 2.0 * max(gate.half_width, gate.half_height), 2.0 * min(gate.half_width, gate.half_height)
    wanted = max(span / MOST_PIXELS, min(span / FEWEST_PIXELS, narrow / _FEWEST_ACROSS))
    finer = max(1, math.ceil(bitmap.pitch / wanted))
    if extent > 0.0:
        # A small opening is drawn so fine that its own rim stays one; more than that the bitmap does not tell.
        finer = max(finer, min(_MOST_CUTS, math.ceil(_FEWEST_LIT * bitmap.pitch / extent)))
    return finer, max(1, math.ceil(extent / (bitmap.pitch / finer) / MOST_PIXELS))


def _lit_part(values: np.ndarray, lit_rows: np.ndarray, lit_columns: np.ndarray) -> tuple[int, int, np.ndarray]:
    """The rows and columns that hold any light, with one dark one all round:
    what is metal anyway need not be blurred.
    """
    rows, columns = np.flatnonzero(lit_rows), np.flatnonzero(lit_columns)
    if rows.size == 0:
        return 0, 0, np.ascontiguousarray(values[:3, :3])
    top, left = rows[0] - 1, columns[0] - 1
    return int(top), int(left), np.ascontiguousarray(values[top : rows[-1] + 2, left : columns[-1] + 2])


@formula
def _edge_share(gate, x, y, pitch):
    """How much of a pixel the gate's edge leaves open, times the hot spot there."""
    if gate.is_round:
        squared = x * x + y * y
        inner = max(gate.half_width - pitch, 0.0)
        if squared <= inner * inner:
            share = 1.0
        else:
            share = min(max((gate.half_width - math.sqrt(squared)) / pitch + 0.5, 0.0), 1.0)
    else:
        share = min(max((gate.half_width - abs(x)) / pitch + 0.5, 0.0), 1.0)
        share *= min(max((gate.half_height - abs(y)) / pitch + 0.5, 0.0), 1.0)
    return share * hot_spot(gate, x, y)


@kernel
def _draw_as_it_is(gate, bitmap, pitch, first_row, first_column, x, y, start, stop, values, lit_rows, lit_columns):
    """Rows start … stop of the gate's picture on the bitmap's own pixels, and which rows and columns hold light."""
    height, width = bitmap.transmission.shape
    for i in range(start, min(stop, height - first_row)):
        for j in range(min(x.shape[0], width - first_column)):
            value = bitmap.transmission[first_row + i, first_column + j]
            if value > 0.0:
                share = value * _edge_share(gate, x[j], y[i], pitch)
                if share > 0.0:
                    values[i + 1, j + 1] = share
                    lit_rows[i + 1] = lit_columns[j + 1] = True


@kernel
def _draw_anew(gate, bitmap, pitch, parts, x, y, start, stop, values, lit_rows, lit_columns):
    """Rows start … stop of the gate's picture on pixels of another size, each the mean of parts² places, linear between
    the bitmap's own.
    """
    for i in range(start, stop):
        for j in range(x.shape[0]):
            total = 0.0
            for part in range(parts * parts):
                at_x = x[j] + ((part % parts + 0.5) / parts - 0.5) * pitch
                at_y = y[i] + ((part // parts + 0.5) / parts - 0.5) * pitch
                share = _edge_share(gate, at_x, at_y, pitch / parts)
                if share > 0.0:
                    total += share * bitmap_value(bitmap, at_x, at_y)
            if total > 0.0:
                values[i + 1, j + 1] = total / (parts * parts)
                lit_rows[i + 1] = lit_columns[j + 1] = True


def _cropped_axis(count: int, pitch: float, low: float, high: float) -> np.ndarray:
    """Centres (m) of those of `count` pixels along one axis that lie from low to high or next to it, at least two of
    them.
    """
    middle = 0.5 * (count - 1)
    first, last = max(math.ceil(low / pitch + middle - 1.0), 0), min(math.floor(high / pitch + middle + 1.0), count - 1)
    kept = (np.arange(first, last + 1) - middle) * pitch
    return kept if kept.size >= 2 else (np.arange(2) - 0.5) * pitch


@kernel
def _block_flags(values, flags):
    """Flags of each block of BLOCK × BLOCK pixels."""
    height, width = values.shape
    for i in range(flags.shape[0]):
        for j in range(flags.shape[1]):
            found = 0
            for row in range(i * BLOCK, min((i + 1) * BLOCK, height)):
                for column in range(j * BLOCK, min((j + 1) * BLOCK, width)):
                    if values[row, column] < 1.0:
                        found |= HAS_SHADE
                    if values[row, column] > 0.0:
                        found |= HAS_LIGHT
            flags[i, j] = found


def _flag_pyramid(values: np.ndarray):
    level = np.zeros((-(-values.shape[0] // BLOCK), -(-values.shape[1] // BLOCK)), np.uint8)
    _block_flags(values, level)
    levels = [level]
    while max(level.shape) > 1:
        padded = np.pad(level, ((0, level.shape[0] % 2), (0, level.shape[1] % 2)))
        level = padded[::2, ::2] | padded[1::2, ::2] | padded[::2, 1::2] | padded[1::2, 1::2]
        levels.append(level)
    offsets = np.cumsum([0] + [item.size for item in levels[:-1]])
    shapes = np.array([item.shape for item in levels])
    return np.concatenate([item.ravel() for item in levels]), offsets.astype(np.int64), shapes.astype(np.int64)


@formula
def gate_flags(image, x_low, x_high, y_low, y_high):
    """HAS_SHADE and HAS_LIGHT over a box of the gate plane (m), on the cautious side."""
    height, width = image.values.shape
    per_metre = 1.0 / image.pitch
    first_column = math.floor((x_low - image.left) * per_metre) - 1
    last_column = math.floor((x_high - image.left) * per_metre) + 2
    first_row = math.floor((y_low - image.top) * per_metre) - 1
    last_row = math.floor((y_high - image.top) * per_metre) + 2
    if last_column < 0 or last_row < 0 or first_column >= width or first_row >= height:
        return HAS_SHADE
    found = 0
    if first_column < 0 or first_row < 0 or last_column >= width or last_row >= height:
        found = HAS_SHADE
    left = int(max(first_column, 0)) // BLOCK
    right = int(min(last_column, width - 1)) // BLOCK
    top = int(max(first_row, 0)) // BLOCK
    bottom = int(min(last_row, height - 1)) // BLOCK
    level = 0
    while (right - left > 2 or bottom - top > 2) and level + 1 < image.flag_offsets.shape[0]:
        level += 1
        left >>= 1
        right >>= 1
        top >>= 1
        bottom >>= 1
    offset = image.flag_offsets[level]
    row_length = image.flag_shapes[level, 1]
    for i in range(top, bottom + 1):
        for j in range(left, right + 1):
            found |= image.flags[offset + i * row_length + j]
    return found
