"""The figure's landmarks, found on its field (mm) the way a measurer finds them on a person."""

from __future__ import annotations

import numpy as np

from projector.figures.field.face import EYE
from projector.figures.field.surface import figure_field


def find_landmarks(kind):
    """Landmarks by name, each (3,) float, millimetres, on the zero of the field.

    A head alone has no shoulders or chest.
    """
    heights = np.linspace(-60.0, 25.0, 171)
    profile = skin_met(kind, [(0.0, y, 150.0) for y in heights], (0.0, 0.0, -1.0))
    bridge_zone = profile[heights > -6.0]
    crown = skin_met(kind, [(0.0, 140.0, z) for z in np.linspace(-40.0, 30.0, 71)], (0.0, -1.0, 0.0))
    chin = skin_met(kind, [(0.0, -160.0, z) for z in np.linspace(70.0, 100.0, 61)], (0.0, 1.0, 0.0))
    eye, mouth, cheek, forehead, throat, chest = skin_met(
        kind,
        [
            (EYE[0], EYE[1], 150.0),
            (0, -70.0, 150.0),
            (48.0, -24.0, 150.0),
            (0, 48.0, 150.0),
            (0, -150.0, 150.0),
            (0, -305.0, 150.0),
        ],
        (0.0, 0.0, -1.0),
    )
    landmarks = {
        "left_eye": eye,
        "nose_tip": profile[np.argmax(profile[:, 2])],
        "nose_bridge": bridge_zone[np.argmin(bridge_zone[:, 2])],
        "mouth": mouth,
        "chin": chin[np.argmin(chin[:, 1])],
        "left_ear": skin_met(kind, [(110.0, -17.0, 4.0)], (-1.0, 0.0, 0.0))[0],
        "left_cheek": cheek,
        "forehead": forehead,
        "top_of_head": crown[np.argmax(crown[:, 1])],
        "throat": throat,
    }
    if kind == "head_and_torso":
        landmarks["left_shoulder"] = skin_met(kind, [(195.0, -100.0, -48.0)], (0.0, -1.0, 0.0))[0]
        landmarks["chest"] = chest
    mirror = np.array([-1.0, 1.0, 1.0])
    for side in [name for name in landmarks if name.startswith("left_")]:
        landmarks[side.replace("left_", "right_")] = landmarks[side] * mirror
    return landmarks


def skin_met(kind, starts, direction):
    """Where the surface is first met going from each of `starts` (n, 3) along `direction`: (n, 3), on the field's zero.

    A line that meets nothing gives its start.
    """
    starts, direction = np.asarray(starts, float), np.asarray(direction, float)
    steps = np.arange(0.0, 260.0, 0.5)
    paths = starts[:, None, :] + steps[:, None] * direction
    inside = figure_field(tuple(paths.reshape(-1, 3).T), kind).reshape(paths.shape[:2]) < 0.0
    first = np.argmax(inside, axis=1)
    before, beyond = steps[np.maximum(first - 1, 0)], steps[first]
    for _ in range(12):
        middle = 0.5 * (before + beyond)
        is_inside = figure_field(tuple((starts + middle[:, None] * direction).T), kind) < 0.0
        before, beyond = np.where(is_inside, before, middle), np.where(is_inside, middle, beyond)
    return starts + beyond[:, None] * direction
