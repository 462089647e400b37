"""Published numbers as data: what, its inputs, the value, how near we must come and why, and where it was published."""

from __future__ import annotations

from dataclasses import dataclass

OPENSTAX = "OpenStax, University Physics vol. 3, Thin Lenses / The Camera"
REFRACTIVE = "refractiveindex.info database (Polyanskiy, Sci. Data 11, 94, 2024)"
CIE = "CIE 15:2004 / ISO/CIE 11664-1"
SRGB = "IEC 61966-2-1:1999"
ISO2720 = "ISO 2720 (exposure meters)"
SIEGEL = "Siegel & Howell, Thermal Radiation Heat Transfer (coaxial discs)"
SURVEY = "Gordon et al., NATICK/TR-15/007 (2014)"
CLAFF = "B. Claff, Angle of View Values for Common Focal Lengths (2006)"
LAMBERT = "Lambert's polygon formula (Siegel & Howell)"
HOWELL = "Howell, A Catalog of Radiation Heat Transfer Configuration Factors, section B"
HENYEY = "Henyey & Greenstein, ApJ 93, 70 (1941)"
METER_MANUAL = "exposure increments of colour conversion filters, appendix of a colour meter's manual"
ISO9039 = "ISO 9039 (distortion as the relative shift of the image point; from memory)"
TRADE = "common practice, no source"
COMPUTED = "closed form, recomputed independently"


@dataclass(frozen=True)
class Published:
    """One published value. tolerance is absolute, in the value's unit; why says what it allows for."""

    key: str
    what: str
    expected: float
    unit: str
    tolerance: float
    why: str
    source: str


def _row(key, what, expected, unit, tolerance, why, source) -> Published:
    return Published(key, what, expected, unit, tolerance, why, source)


_PRINTED = "the printed figures"
_MAP = "0.5 % of geometry measured in a map"
_EDGE = "3 % of an edge measured in a map"

VALUES = (
    _row("slide width", "slide 24 mm, f 100 mm at 103 mm: width on the screen", 0.800, "m", 5e-4, _PRINTED, OPENSTAX),
    _row("slide screen", "the same: distance of the screen", 3.43333, "m", 5e-5, _PRINTED, OPENSTAX),
    _row("image distance", "f 10 cm, object at 50 cm: image distance", 0.125, "m", 1e-6, _PRINTED, OPENSTAX),
    _row("two f", "f 10 cm, object at 20 cm: magnification", 1.0, "", 1e-9, _PRINTED, OPENSTAX),
    _row("camera image", "f 50.0 mm, object at 3.00 m: image distance", 50.847, "mm", 5e-4, _PRINTED, OPENSTAX),
    _row("camera frame", "the same: 36 mm of frame cover", 2.124, "m", 5e-4, _PRINTED, OPENSTAX),
    _row("magnifier", "f 10 cm, object at 8.50 cm: magnification", 6.67, "", 5e-3, _PRINTED, OPENSTAX),
    _row("blur disc", "pupil 25 mm, sharp at 3433.333 mm, screen at 3000 mm: blur disc", 3.15534, "mm", 1e-5, _PRINTED, "real-ray trace, optiland 0.6.3"),
    _row("view 50", "angle of view over the diagonal, 50 mm", 46.793, "°", 1e-3, _PRINTED, CLAFF),
    _row("view 85", "angle of view across, 85 mm", 23.913, "°", 1e-3, _PRINTED, CLAFF),
    _row("cosine", "cos⁴ at 30° from a small pupil, through the mean over the pupil", 0.56250, "", 2e-4, "the pupil's own size", "cos⁴ law, any radiometry text"),
    _row("image plane", "axial illuminance, L 2.0e6 cd/m², pupil 25 mm, τ 0.9, 3.43333 m", 74.957, "lx", 5e-3, "point against disc form", "I. E. Irodov, Problems in General Physics, 5.38 (law)"),
    _row("index F", "N-BK7, index at 486.1327 nm", 1.522376, "", 1e-6, _PRINTED, REFRACTIVE),
    _row("index d", "N-BK7, index at 587.5618 nm", 1.516800, "", 1e-6, _PRINTED, REFRACTIVE),
    _row("index C", "N-BK7, index at 656.2725 nm", 1.514322, "", 1e-6, _PRINTED, REFRACTIVE),
    _row("abbe crown", "N-BK7, Abbe number", 64.167, "", 2e-3, _PRINTED, REFRACTIVE),
    _row("abbe flint", "F2, Abbe number", 36.366, "", 2e-3, _PRINTED, REFRACTIVE),
    _row("singlet blue", "N-BK7 singlet of 100 mm: focal length at F", 98.93252, "mm", 1e-4, _PRINTED, REFRACTIVE),
    _row("singlet red", "the same at C", 100.48174, "mm", 1e-4, _PRINTED, REFRACTIVE),
    _row("achromat F", "achromat N-BK7 + F2 of 100 mm: focal length at F", 100.049956, "mm", 1e-5, _PRINTED, "paraxial trace, optiland 0.6.3"),
    _row("achromat g", "the same at g", 100.222584, "mm", 1e-5, _PRINTED, "paraxial trace, optiland 0.6.3"),
    _row("axial blue", "singlet, pupil 25 mm, wall at 3433.333 mm: blue disc", 9.26139, "mm", 1e-4, _PRINTED, COMPUTED),
    _row("observer", "ȳ at 600 nm", 0.63100, "", 1e-5, _PRINTED, CIE),
    _row("white d65", "y of daylight at 6504 K", 0.32903, "", 5e-4, "D65 as daylight of its own temperature on 5 nm", CIE),
    _row("white tungsten", "x of a black body at 3200 K", 0.42336, "", 3e-4, "a grid of 5 nm from 380 to 730", "colour-science 0.4.7 and luxpy 1.12.5 agree"),
    _row("srgb grey", "code of linear 0.18", 0.4613561, "", 1e-6, _PRINTED, SRGB),
    _row("srgb half", "code of linear 0.5", 0.7353570, "", 1e-6, _PRINTED, SRGB),
    _row("coaxial discs", "flux through a closing wall over π·L·A: discs 0.1 and 0.2 m, 0.5 m apart", 0.1339313, "", 7e-4, _MAP, SIEGEL),
    _row("flash f/8", "exposure of f/8 at ISO 100", 160.0, "lx·s", 1e-9, _PRINTED, ISO2720),
    _row("dome", "dome against flat receptor", 0.4005, "stops", 5e-4, "log2(330/250)", ISO2720),
    _row("shutter", "1/30 → 1/8 s", 1.907, "stops", 5e-4, "marks as typed", TRADE),
    _row("lumens", "1500 lm on an even disc of 1.20 m", 1326.0, "lx", 0.5, _PRINTED, TRADE),
    _row("distance stops", "1.5 times the distance", -1.17, "stops", 5e-3, _PRINTED, "inverse square law"),
    _row("neutral", "transmittance of density 0.6", 0.25119, "", 1e-5, _PRINTED, "definition of optical density"),
    _row("mired", "3200 → 5600 K", -133.93, "mired", 5e-3, _PRINTED, "definition; camera manuals print −134"),
    _row("edge", "10–90 % of an edge through a disc of diameter 1", 0.68697, "", 2e-4, "a disc of 101 pixels", "scikit-image 0.26 disk(50)"),
    _row("map width", "the slide's width measured in a rendered map", 0.800, "m", 0.004, _MAP, OPENSTAX),
    _row("map edge", "an edge's 10–90 % measured in a rendered map, pupil 25 mm, sharp at 3433.333, wall at 3000 mm", 0.687049 * 3.15534, "mm", 0.03 * 0.687049 * 3.15534, _EDGE, COMPUTED),
    _row("map reading", "meter reading f/8 ISO 100 found again in a map", 160.0, "lx·s", 0.3, "the pupil's own size and the map's steps", ISO2720),
    _row("map inverse square", "light at twice the distance from the lens", -2.0, "stops", 0.01, "the pupil's own size at 2 m", "inverse square law"),
    _row("tilted wall", "26° field at 3.00 m on a wall tilted by 30°: ratio of its sides", 1.308, "", 1e-3, _PRINTED, "projective geometry"),
    _row("nearest", "55 mm with 4.0 mm of travel: nearest focus", 0.811, "m", 5e-4, _PRINTED, OPENSTAX),
    _row("lens for size", "24 × 36 mm to 2.70 m at 7.50 m: focal length", 98.68, "mm", 5e-3, _PRINTED, OPENSTAX),
    _row("beam lens", "36° over the diagonal of 36 × 24 mm", 66.6, "mm", 0.05, _PRINTED, TRADE),
    _row("distortion root", "pincushion of 20 %: the gate point that lands at 0.525 (0.5·(1 + 0.2·0.25))", 0.5, "", 1e-14, "rounding", "closed form: the cubic's rational root"),
    _row("barrel root", "barrel of 30 %: the gate point that lands at 0.6464 (0.8·(1 − 0.3·0.64))", 0.8, "", 1e-14, "rounding", "closed form: the cubic's rational root"),
    _row("distortion pincushion", "distortion +10 %: the gate's edge in a rendered map, over where it lands without", 1.10, "", 0.005 * 1.10, _MAP, ISO9039),
    _row("distortion barrel", "the same at −20 %", 0.80, "", 0.005 * 0.80, _MAP, ISO9039),
    _row("distortion lumens", "1000 lm out of a lens of +10 %, added up over a rendered wall", 1000.0, "lm", 3.0, "the border's texels", "conservation of flux"),
    _row("glass faces", "six faces of index 1.62 uncoated (5.6 % each) against coated (0.2 % each)", -0.48, "stops", 5e-3, _PRINTED, "Fresnel reflectance at normal incidence, any optics text"),
    _row("stop of the reading", "reading taken at f/4, lens now at f/8", -2.0, "stops", 0.01, "the pupil's own size at 2 m", "definition of the f-number; marks as typed"),
    _row("lens of the reading", "reading taken with 85 mm f/2.8, lens now 50 mm f/2.8: 2·log2(50/85)", -1.531, "stops", 0.01, "the pupil's own size at 2 m", "conservation of radiance, any radiometry text"),
    _row("disc source", "disc of 0.25 m radius, 70 lx on its axis at 0.75 m: exitance", 700.0, "lm/m²", 1e-6, _PRINTED, "I. E. Irodov, Problems in General Physics, 5.11"),
    _row("disc source aside", "the same disc, a parallel wall: 0.50 m off the axis, by single rays", 36.9505, "lx", 0.002 * 36.9505, "noise of 48² rays", HOWELL),
    _row("flux of a rectangle", "flux of a square gate 1 m wide at 1 m, over π·L·A", 0.2394565, "", 1e-6, _PRINTED, "Tregenza & Sharples, daylight algorithm 3.14 (four corners; Siegel & Howell)"),
    _row("point rule", "a disc ten radii away: the point formula is too high by", 1.0, "%", 1e-6, _PRINTED, "five times rule; R²/h² against R²/(R² + h²), any photometry text"),
    _row("lamp over a table", "small source 2.4 m over a table, 25 lx below it: 1.8 m aside", 10.24, "lx", 2e-3, "the pupil's own size", "H. C. Verma, Concepts of Physics 1, ch. 22 (worked exercise)"),
    _row("eyes", "figure: distance of the pupils (between women − 1 s and men + 1 s)", 62.75, "mm", 4.65, "58.1 to 67.4 mm", SURVEY),
    _row("face height", "figure: chin to bridge of the nose", 118.15, "mm", 11.15, "107.0 to 129.3 mm", SURVEY),
    _row("head breadth", "figure: breadth of the head without ears", 151.2, "mm", 8.6, "142.6 to 159.8 mm", SURVEY),
    _row("panel", "panel 1.0 × 1.0 m at 1.0 m on its axis, over its luminance", 0.752275, "sr", 1e-6, _PRINTED, LAMBERT),
    _row("strip", "strip 0.35 × 1.00 m at 1.5 m on its axis, over its luminance", 0.143817, "sr", 1e-6, _PRINTED, LAMBERT),
    _row("panel corner", "panel 2 × 1 m, 1 m over its corner: configuration factor", 0.1673750, "", 1e-7, _PRINTED, HOWELL),
    _row("disc", "disc of radius 0.25 m and 700 lm/m², 0.75 m away on its axis", 70.0, "lx", 2e-3, "a polygon of 720 sides", "I. E. Irodov, Problems in General Physics, 5.11"),
    _row("disc aside", "the same, 0.5 m beside the axis", 36.9505, "lx", 1e-3, "a polygon of 720 sides", HOWELL),
    _row("tube", "tube of 0.04 × 1.0 m at 1.0 m from its middle, over its luminance", 0.0345459, "sr", 1e-7, _PRINTED, COMPUTED),
    _row("honeycomb half", "honeycomb: tangent times depth over cell width where half passes", 0.403973, "", 1e-6, _PRINTED, COMPUTED),
    _row("honeycomb depth", "honeycomb of 20° beam: depth over cell width", 2.2910, "", 1e-4, _PRINTED, COMPUTED),
    _row("honeycomb end", "the same: full angle beyond which nothing passes", 47.2, "°", 0.05, _PRINTED, COMPUTED),
    _row("dome aside", "dome receptor, light from 60°", 0.75, "", 1e-12, _PRINTED, "projected area of a hemisphere"),
    _row("haze kept", "haze of 0.05 /m over 4 m: share kept", 0.818731, "", 1e-6, _PRINTED, "Beer–Lambert law"),
    _row("haze forward", "scattering of asymmetry 0.76, straight on", 2.431534, "1/sr", 1e-6, _PRINTED, HENYEY),
    _row("haze back", "scattering of asymmetry 0.5, straight back", 0.017684, "1/sr", 1e-6, _PRINTED, HENYEY),
    _row("air light", "100 cd at 4 m, 30° off the view, through 6 m of haze of 0.05 /m", 0.29269147, "cd/m²", 1e-7, _PRINTED, "Sun et al., SIGGRAPH 2005 (closed form)"),
    _row("fresnel", "glass of index 1.5, square on: share reflected", 0.04, "", 1e-9, _PRINTED, "Fresnel's equations"),
    _row("observer sum", "V(λ) summed over the wavelengths", 106.8569, "nm", 0.01, "what lies beyond 380 to 730 nm", "CIE 018:2019, at 1 nm from 360 to 830"),
    _row("lumens per watt", "white of equal energy over 380 to 730 nm, lx over W/m² of a rendered map", 208.523, "lm/W", 0.03, "what V has beyond the band", "683 lm/W · 106.8569 nm / 350 nm (SI Brochure, CIE 018:2019)"),
    _row("white mixed", "white of 4500 K: x", 0.36143, "", 1.5e-4, "a grid of 5 nm from 380 to 730", "CIE 224:2017 by colour-science 0.4.7"),
    _row("white d50", "white of 5003 K: x", 0.34567, "", 1.5e-4, "a grid of 5 nm from 380 to 730", CIE),
    _row("led neutral", "LED of 4000 K under a white balance of 4000 K: ΔE*ab from neutral", 0.0, "", 0.5, "a quarter of what is just seen", "ISO/CIE 11664-4; definition of white balance"),
    _row("adaptation", "D65 to D50: first element of the matrix", 1.0478112, "", 1e-6, _PRINTED, "B. Lindbloom, Chromatic Adaptation (Bradford; from memory)"),
    _row("lab grey", "L* of a reflectance of 0.18", 49.496, "", 1e-3, _PRINTED, "ISO/CIE 11664-4: 116·0.18^(1/3) − 16"),
    _row("bluing filter", "3200 K behind −130.8 mired, D55's temperature: y", 0.34743, "", 1.5e-4, "a grid of 5 nm from 380 to 730", CIE),
    _row("warming filter", "a flash of 5600 K behind +133.9 mired: x of 3200 K", 0.42336, "", 3e-4, "a grid of 5 nm from 380 to 730", "colour-science 0.4.7 and luxpy 1.12.5 agree"),
    _row("bluing cost", "what −131 mired cost tungsten", 2.0, "stops", 0.37, "printed in thirds; dyes differ", METER_MANUAL),
    _row("warming cost", "what +131 mired cost a flash", 2.0 / 3.0, "stops", 0.37, "printed in thirds; dyes differ", METER_MANUAL),
    _row("half filter", "half of 3200 → 5600 K", 4073.0, "K", 0.5, _PRINTED, "definition of the mired"),
    _row("fringe axial", "singlet of N-BK7, 100 mm f/4, wall at 3433.333 mm: reach of 450 nm past yellow", 7.07483, "mm", 1e-4, _PRINTED, "closed form; indices by refractiveindex 1.3.1"),
    _row("fringe aside", "lateral colour 0.1 mm in a gate of 60 mm, on the wall 0.5 m to the right", 1.6667, "mm", 1e-4, _PRINTED, "W. J. Smith, Modern Optical Engineering, ch. 5"),
    _row("fringe above", "the same 0.5 m above", 1.6667, "mm", 1e-4, _PRINTED, "W. J. Smith, Modern Optical Engineering, ch. 5"),
    _row("flash strip", "flash at 1/400 s where blinds cross in 1/200 s: share of the frame", 0.5, "", 1e-12, _PRINTED, "geometry of a shutter with two blinds"),
)
