"""Checks of a projector without a lens: a cut card before a lamp."""

from __future__ import annotations

from collections.abc import Callable

from projector.scene.reading.reader import load_text
from projector.studies.size.landing import landing
from projector.verification.published import PRINTED, Published

VALUES = (
    Published(
        "card magnification",
        "cut card 0.5 m before a lamp, wall at 2 m: how much larger it lands",
        4.0,
        "",
        1e-9,
        PRINTED,
        "similar triangles",
    ),
    Published(
        "card penumbra",
        "the same, the lamp's opening 40 mm across: penumbra",
        120.0,
        "mm",
        1e-6,
        PRINTED,
        "similar triangles",
    ),
)


def _landed():
    """A lamp's opening of 40 mm, a card 0.5 m before it, a wall at 2 m."""
    scene = load_text(
        """
format = 1
[camera]
position_m = [0.6, 1.5, 4.0]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "p"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = { shape = "round", diameter_mm = 200 }
lamp = { opening_mm = 40, card_mm = 500 }
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 2.0
height_m = 2.0
""",
        "check",
    )
    return landing(scene, scene.projector[0])


COMPUTE: dict[str, Callable[[], float]] = {
    "card magnification": lambda: _landed().pattern_width_m / 0.2,
    "card penumbra": lambda: _landed().blur_mm,
}
