"""What shines, as points see it: its place, its axes and its outline. What a gate and a lens do to its light is no part
of it: a soft box has none of that.
"""

from __future__ import annotations

from typing import NamedTuple

from projector.jit import formula
from projector.tracing.rays.cone import SEGMENT_START
from projector.tracing.sight.outline import Outline


class Emitter(NamedTuple):
    """A flat opening that shines forward: the pupil of a lens, or a panel of any size and outline. Lengths in metres.

    position, right, down, forward (3): its middle and its axes in the world
    outline        its shape, in units of `radius`: the radius of a disc as large as its nominal opening
    half_width, half_height  of the box round it, along right and down
    reach          how far from the middle its farthest point lies: it lies in the ball of this radius
    ray_start      the share of a ray's way at its start, from a point to the emitter, on which nothing is looked for
    """

    position: tuple
    right: tuple
    down: tuple
    forward: tuple
    outline: Outline
    radius: float
    half_width: float
    half_height: float
    reach: float
    ray_start: float


def make_emitter(
    position: tuple, axes: tuple, outline: Outline, radius: float, ray_start: float = SEGMENT_START
) -> Emitter:
    """An emitter at a place (3) with axes (right, down, forward), its outline scaled by a radius (m).

    ray_start: smaller than usual for one so far away that what stands close before a point would be passed over.
    """
    half_width, half_height = (radius * half for half in outline.half_sizes)
    return Emitter(position, *axes, outline, radius, half_width, half_height, radius * outline.reach, ray_start)


def resized(emitter: Emitter, radius: float) -> Emitter:
    """The same emitter larger or smaller: radius in metres."""
    axes = (emitter.right, emitter.down, emitter.forward)
    return make_emitter(emitter.position, axes, emitter.outline, radius, emitter.ray_start)


@formula
def in_light_frame(emitter, x, y, z):
    """A world point in an emitter's frame: right, down, forward (m)."""
    dx = x - emitter.position[0]
    dy = y - emitter.position[1]
    dz = z - emitter.position[2]
    return (
        dx * emitter.right[0] + dy * emitter.right[1] + dz * emitter.right[2],
        dx * emitter.down[0] + dy * emitter.down[1] + dz * emitter.down[2],
        dx * emitter.forward[0] + dy * emitter.forward[1] + dz * emitter.forward[2],
    )


@formula
def direction_in_light_frame(emitter, x, y, z):
    """A world direction in an emitter's frame."""
    return (
        x * emitter.right[0] + y * emitter.right[1] + z * emitter.right[2],
        x * emitter.down[0] + y * emitter.down[1] + z * emitter.down[2],
        x * emitter.forward[0] + y * emitter.forward[1] + z * emitter.forward[2],
    )


@formula
def in_world(emitter, ax, ay):
    """A point of an emitter's plane (m) in the world."""
    return (
        emitter.position[0] + ax * emitter.right[0] + ay * emitter.down[0],
        emitter.position[1] + ax * emitter.right[1] + ay * emitter.down[1],
        emitter.position[2] + ax * emitter.right[2] + ay * emitter.down[2],
    )
