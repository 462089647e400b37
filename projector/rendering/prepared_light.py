"""A projector made ready to light points: its wavelengths, its stack of blurred stencils, and how much it adds."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from projector.photometry.spectra import K_M, LUMINOUS_STEPS, OBSERVER_STEPS, STEPS_NM
from projector.photometry.wavelength_nodes import choose_nodes
from projector.rendering.kept import STACKS, Store
from projector.rendering.workers import Progress, Workers
from projector.stage.power import Power
from projector.stage.stage import AnyProjector, SceneOrStage, StagedProjector, projector_on
from projector.tracing.gate.blur_stack import BlurStack, Stack
from projector.tracing.gate.gate_image import GateImage, draw_gate
from projector.tracing.gate.lens_law import Projection, patch_scale
from projector.tracing.light.pattern import Pattern, add_light
from projector.tracing.light.pupil_cells import N_SIDE_PRODUCT, pupil_parts
from projector.tracing.sight.emitter import Emitter
from projector.tracing.sight.outline import BITMAP, RING, make_outline
from projector.tracing.sight.points import Points, Visibility
from projector.tracing.sight.squares import BOUNDS, Squares, bound_squares, in_one_row, n_squares
from projector.tracing.sight.visibility import depths_reached

_SQUARES_PIECE = 256

# Colour of every sum: CIE XYZ of the light that a perfect white would send back; or power and illuminance.
XYZ_CHANNELS = K_M * OBSERVER_STEPS
MAP_CHANNELS = np.stack([STEPS_NM, K_M * LUMINOUS_STEPS], axis=1)


@dataclass(frozen=True)
class LightSource:
    """One projector of a scene as kernels take it, its power, and how its few wavelengths stand for all:
    hat (n, 71).
    """

    light: Projection
    power: Power
    hat: np.ndarray

    def weights(self, reflectances: np.ndarray, channels: np.ndarray) -> np.ndarray:
        """(k, n_wavelengths, n_channels): sums over the full grid between nodes of power · reflectance (k, 71) of each
        material · channels (71, n_channels).
        """
        spectra = reflectances * self.power.spectrum[None, :]
        return np.ascontiguousarray(np.einsum("nl,kl,lc->knc", self.hat, spectra, channels))

    def node_weights(self, reflectances: np.ndarray) -> np.ndarray:
        """(k, n_wavelengths, n_wavelengths): a channel for each wavelength node, the power that it stands for, for what
        bounces on. Weighted with what a unit of a node's power is worth, they add up to any other channels.
        """
        power = (reflectances * self.power.spectrum[None, :]) @ (self.hat * STEPS_NM).T
        return np.ascontiguousarray(power[:, :, None] * np.eye(len(self.hat)))


@dataclass(frozen=True)
class PreparedLight:
    """The same with its gate's picture and the stacks made of it, for the whole pupil and for its cells."""

    source: LightSource
    image: GateImage
    stacks: Stacks

    @property
    def light(self) -> Projection:
        """The projector as kernels take it."""
        return self.source.light

    @property
    def power(self) -> Power:
        """How bright it is."""
        return self.source.power

    def weights(self, reflectances: np.ndarray, channels: np.ndarray) -> np.ndarray:
        """Those of the source."""
        return self.source.weights(reflectances, channels)


class Stacks(NamedTuple):
    """A stack for the whole pupil and one for its cells, which may be the same; whoever adds levels holds the lock."""

    whole: BlurStack
    cells: BlurStack
    lock: threading.Lock

    @property
    def n_bytes(self) -> int:
        """Memory that they take."""
        return self.whole.n_bytes + (self.cells.n_bytes if self.cells is not self.whole else 0)

    def close(self) -> None:
        """Let go of the memory of both."""
        with self.lock:
            self.whole.close()
            self.cells.close()


def stacks_for(light: Projection, image: GateImage, workers: int) -> Stacks:
    """Stacks for the whole pupil and for its cells: a ring's or a bitmap's cells are discs, not small rings."""
    whole = BlurStack(image, light.emitter.outline, workers)
    if light.emitter.outline.kind in (RING, BITMAP):
        return Stacks(whole, BlurStack(image, make_outline("disc"), workers), threading.Lock())
    return Stacks(whole, whole, threading.Lock())


def light_source(staged: StagedProjector, n_wavelengths: int, with_stencil: bool = True) -> LightSource:
    """One projector of a stage at so many wavelengths, chosen for its light; without its stencil where what lies in the
    gate is seen to apart.
    """
    nodes = choose_nodes(staged.power.spectrum, n_wavelengths)
    light = staged.light if with_stencil else staged.open_light
    return LightSource(light(nodes.wavelengths_nm), staged.power, nodes.hat)


def light_source_of_shape(staged: StagedProjector, shape: np.ndarray, n_wavelengths: int) -> LightSource:
    """The same with an open gate and a spectrum (71,) of that shape, at whatever level."""
    nodes = choose_nodes(shape, n_wavelengths)
    return LightSource(staged.open_light(nodes.wavelengths_nm), replace(staged.power, spectrum=shape), nodes.hat)


def prepare_light(
    stage: SceneOrStage, projector: AnyProjector, n_wavelengths: int, threads: int = 2, stacks: Store = STACKS
) -> PreparedLight:
    """Make one projector of a scene or a stage ready."""
    staged = projector_on(stage, projector)
    return with_stacks(light_source(staged, n_wavelengths), staged, stacks, threads)


def with_stacks(source: LightSource, staged: StagedProjector, stacks: Store, threads: int) -> PreparedLight:
    """A projector with its gate's picture and its stacks; those of equal gates are one, whoever asks."""
    of_gate, outline = staged.gate_inputs, source.light.emitter.outline
    image = stacks.get(("gate picture", *of_gate), lambda: draw_gate(staged.gate, staged.bitmap, threads))
    made = stacks.get(("stack", *of_gate, outline), lambda: stacks_for(source.light, image, threads))
    return PreparedLight(source, image, made)


def _patch_range(light: Projection, nearest: float, farthest: float) -> tuple[float, float]:
    """Smallest and largest patch diameter (m, in the gate) over distances along the axis, wavelengths and the field."""
    scales = [
        patch_scale(light, sharp, 1.0 / distance, field_squared)
        for sharp in light.inverse_sharp_range
        for distance in (max(nearest, light.nearest), max(farthest, light.nearest))
        for field_squared in (0.0, 1.5)
    ]
    diameter = 2.0 * light.emitter.radius
    low = 0.0 if min(scales) < 0.0 < max(scales) else min(abs(scale) for scale in scales)
    return diameter * low, diameter * max(abs(scale) for scale in scales)


@dataclass(frozen=True)
class Reach:
    """Of the points that any light can come to: nearest and farthest distance (m) along the axis, largest footprint
    over the tube length.
    """

    nearest: float
    farthest: float
    footprint: float

    def joined(self, other: Reach) -> Reach:
        """Both together."""
        return Reach(
            min(self.nearest, other.nearest), max(self.farthest, other.farthest), max(self.footprint, other.footprint)
        )


NO_REACH = Reach(math.inf, 0.0, 0.0)


def reach_of(emitter: Emitter, points: Points, state: np.ndarray) -> Reach:
    """What the stack has to serve for points of a state (n,); depends on the projector's place, not on its lens."""
    nearest, farthest, footprint = depths_reached(emitter, points, state)
    if nearest > farthest:
        return NO_REACH
    return Reach(max(nearest, 1e-3), max(farthest, 1e-3), footprint)


@contextmanager
def stacks_ready(prepared: PreparedLight, reach: Reach) -> Iterator[tuple[Stack, Stack]]:
    """The levels that points within a reach need, made if they are not yet there: for the whole pupil, and for its
    cells. They hold within the block: after it their memory may go to another stack.
    """
    light = prepared.light
    if reach.farthest <= 0.0:
        reach = Reach(1.0, 1.0, 0.0)
    low, high = _patch_range(light, reach.nearest, reach.farthest)
    # The spherical term stretches a cell at the rim by up to three times its bend there.
    high += 6.0 * abs(light.spherical) * (light.emitter.reach) ** 3
    high = math.hypot(high, reach.footprint * light.tube_length)
    whole, cells, lock = prepared.stacks
    n_side = N_SIDE_PRODUCT if high < whole.sparse_from else 2 * N_SIDE_PRODUCT
    cells_low = low / n_side * math.sqrt(light.emitter.outline.area)
    with ExitStack() as held:
        with lock:
            if whole is cells:
                made = (whole.stack(low, high, cells_low),) * 2
            else:
                made = whole.stack(low, high), cells.stack(cells_low, high)
            for stack in {whole, cells}:
                held.enter_context(stack.used())
        yield made


def squares_seen_by(emitter: Emitter, points: Points, width: int, workers: Workers, is_plane: bool = False) -> Squares:
    """The squares of points in rows of `width`, bounded as an emitter at this place sees them. is_plane: an even grid
    on one plane.
    """
    height = len(points.materials) // width
    bounds = np.empty((n_squares(width, height), BOUNDS))
    workers.run_pieces(
        len(bounds),
        lambda start, stop: bound_squares(emitter, points, width, height, is_plane, start, stop, bounds),
        piece=_SQUARES_PIECE,
    )
    return Squares(width, height, bounds)


def light_points(
    prepared: PreparedLight,
    points: Points,
    visibility: Visibility,
    stacks: tuple[Stack, Stack],
    weights: np.ndarray,
    out: np.ndarray,
    workers: Workers,
    progress: Progress | None = None,
    squares: Squares | None = None,
) -> None:
    """Add the projector's light to out (n, n_channels) float32 or float64; squares: how the points lie, if in rows."""
    squares = squares if squares is not None else in_one_row(len(out))
    parts = pupil_parts(prepared.light, visibility.n_side)
    pattern = Pattern(prepared.light, parts, *stacks, prepared.image)

    def work(start, stop):
        add_light(pattern, points, squares, visibility, weights, start, stop, out)

    workers.run_pieces(n_squares(squares.width, squares.height), work, "light", progress, piece=_SQUARES_PIECE)
