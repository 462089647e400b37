"""A scene's haze as numbers that kernels take."""

from __future__ import annotations

from projector.optics.scattering import extinction_for_loss
from projector.tracing.light.air import Air


def extinction_of(scene) -> float:
    """Extinction (1/m) of the scene's air; 0 without haze."""
    haze = scene.haze
    if haze is None:
        return 0.0
    if haze.extinction_per_m is not None:
        return haze.extinction_per_m
    return extinction_for_loss(haze.loss_percent, haze.over_m)


def air_of(scene) -> Air | None:
    """The scene's air; None without haze."""
    haze = scene.haze
    return None if haze is None else Air(extinction_of(scene), haze.forward, haze.albedo, haze.depth_m)
