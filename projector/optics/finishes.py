"""What surfaces of a studio are like, by trade words: the skin over the matte body, as numbers for `optics.gloss`."""

from __future__ import annotations

from typing import NamedTuple


class Finish(NamedTuple):
    """A smooth skin over a matte body. index: refractive index, 0 for none; roughness: see `optics.gloss.Gloss`."""

    index: float
    roughness: float


MATTE = "matte"
# Skin: index 1.4 (2.8 % sent back square on) and roughness 0.3, E. d'Eon & D. Luebke, "Advanced techniques for
# realistic real-time skin rendering", GPU Gems 3 (2007), chapter 14; its roughness is a Gaussian slope, close to ours.
# Faces measured by T. Weyrich et al., ACM Trans. Graph. 25(3), 1013 (2006), lie round it (0.2 to 0.4, from memory).
# Powdered and oily: common practice, no source. Binders of paint have an index of 1.5 (4 % square on; from memory);
# how rough satin and gloss are: common practice, no source.
FINISHES = {
    MATTE: Finish(0.0, 1.0),
    "skin": Finish(1.4, 0.3),
    "powdered skin": Finish(1.4, 0.5),
    "oily skin": Finish(1.4, 0.2),
    "satin": Finish(1.5, 0.25),
    "gloss paint": Finish(1.5, 0.06),
}
