"""Why a wish cannot be met with one lens, and what the scene's own lens is called; without heavy imports."""

from __future__ import annotations

# The name by which the scene's own lens is asked for.
OWN_LENS = "own"
# Why a wish cannot be met.
NO_LIGHT, SHORT_OF_LIGHT = "no light", "short of light"
ROOM_TOO_SHORT, NOWHERE_TO_STAND, FOCUSES_NO_NEARER = "room too short", "nowhere to stand", "focuses no nearer"
NOT_SHARP_ENOUGH, NOT_SOFT_ENOUGH = "not sharp enough", "not soft enough"
