"""A light's opening as points see it: its place and axes."""

from __future__ import annotations

from projector.jit import formula


@formula
def in_light_frame(light, x, y, z):
    """A world point in the projector's frame: right, down, forward (m)."""
    dx = x - light.position[0]
    dy = y - light.position[1]
    dz = z - light.position[2]
    return (
        dx * light.right[0] + dy * light.right[1] + dz * light.right[2],
        dx * light.down[0] + dy * light.down[1] + dz * light.down[2],
        dx * light.forward[0] + dy * light.forward[1] + dz * light.forward[2],
    )


@formula
def direction_in_light_frame(light, x, y, z):
    """A world direction in the projector's frame."""
    return (
        x * light.right[0] + y * light.right[1] + z * light.right[2],
        x * light.down[0] + y * light.down[1] + z * light.down[2],
        x * light.forward[0] + y * light.forward[1] + z * light.forward[2],
    )


@formula
def in_world(light, ax, ay):
    """A point of the lens plane (m) in the world."""
    return (
        light.position[0] + ax * light.right[0] + ay * light.down[0],
        light.position[1] + ax * light.right[1] + ay * light.down[1],
        light.position[2] + ax * light.right[2] + ay * light.down[2],
    )
