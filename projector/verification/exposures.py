"""Published values of meters, flashes and filters, computed again."""

from __future__ import annotations

import math
from collections.abc import Callable

from projector.photometry import exposure
from projector.photometry.colour_led import emitter
from projector.photometry.named_filters import named_filter
from projector.photometry.nearest_temperature import nearest_temperature
from projector.photometry.spectra import WAVELENGTHS_NM
from projector.rendering.maps.irradiance import irradiance_map
from projector.scene.model import Source
from projector.scene.reading.reader import load_text
from projector.studies.light.filters import filter_list
from projector.verification.published import ISO2720, PRINTED, Published

_EV_TABLE = "Wikipedia, Exposure value, table of EV and illuminance (ISO 100, C 250, K 12.5)"
_GUIDE = "ISO 1230 (guide number) with the inverse square"
_DECAY = "exponential decay; half peak as in CIE ILV 17-26-071"
_DENSITY = "definition of optical density"
_SHEETS = "Mired/Filter Calculator, pointsinfocus.com, table of filters"
_SHEET_COST = "Lighting Q and A, strobist.blogspot.com (2008)"
_DYES = "printed in halves; dyes differ"


def _map_middle(filters: str = "") -> float:
    """Light in the middle of a rendered map, its projector behind filters."""
    text = f"""
format = 1
[camera]
position_m = [0.3, 1.5, 4.0]
aim = [0.0, 1.5, 0.0]
[[projector]]
name = "p"
position_m = [0.0, 1.5, 2.0]
aim = [0.0, 1.5, 0.0]
gate = {{ shape = "round", diameter_mm = 60 }}
lens = {{ focal_length_mm = 100, f_number = 4 }}
reading = {{ f_number = 8, distance_m = 2.0 }}
{filters}
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
width_m = 0.2
height_m = 0.2
"""
    return float(irradiance_map(load_text(text, "check"), n_across=9).illuminance[4, 4])


def _passed(filters: str) -> float:
    """Per cent that filters pass, from two rendered maps."""
    return 100.0 * _map_middle(f"filter = [{filters}]") / _map_middle()


def _shift(name: str, kind: str) -> float:
    """Mired shift of a named filter before the lamp that it is made for."""
    (found,) = filter_list(Source(kind=kind), [name]).filters
    return math.nan if found.mired_shift is None else found.mired_shift


def _cost(name: str, kind: str) -> float:
    return filter_list(Source(kind=kind), [name]).filters[0].stops


def _chip() -> float:
    """An LED chip of 520 nm and 25 nm half width, 25 nm off its peak."""
    return float(emitter(520.0, 25.0)[list(WAVELENGTHS_NM).index(545.0)])


VALUES = (
    Published("ev to lux", "EV 15 at ISO 100", 81920.0, "lx", 1e-6, PRINTED, _EV_TABLE),
    Published("ev to lux low", "EV 3 at ISO 100", 20.0, "lx", 1e-9, PRINTED, _EV_TABLE),
    Published("ev to luminance", "EV 13 at ISO 100, reflected light", 1024.0, "cd/m²", 1e-9, PRINTED, _EV_TABLE),
    Published(
        "sunny luminance",
        "f/16 at 1/125 s and ISO 125: luminance that a meter answers so",
        3200.0,
        "cd/m²",
        1e-9,
        PRINTED,
        "ANSI exposure meters, K 12.5 (photrio.com thread 135325)",
    ),
    Published("sunny lux", "the same, incident light", 64000.0, "lx", 1e-9, PRINTED, ISO2720),
    Published("settings to lux", "f/8 at 1/125 s and ISO 100", 20000.0, "lx", 1e-9, PRINTED, ISO2720),
    Published("flash f/16", "a flash that meters f/16 at ISO 100", 640.0, "lx·s", 1e-9, PRINTED, ISO2720),
    Published("flash by a dome", "f/8 at ISO 100 by a dome of C 330", 211.2, "lx·s", 1e-9, PRINTED, ISO2720),
    Published("guide number", "guide number 36 m at 4.5 m: f-number", 8.0, "", 1e-9, PRINTED, _GUIDE),
    Published("guide number light", "the same: light at 1 m", 3240.0, "lx·s", 1e-9, PRINTED, _GUIDE),
    Published("guide number iso", "the same at ISO 200", 50.9, "m", 0.05, PRINTED, _GUIDE),
    Published("guide number half", "the same at half of its energy", 25.5, "m", 0.05, PRINTED, _GUIDE),
    Published(
        "meter's grey",
        "reflectance on which both kinds of meter agree (K 12.5, C 250)",
        15.7,
        "%",
        0.05,
        PRINTED,
        "Wikipedia, Light meter, calibrated reflectance",
    ),
    Published("flash tenth", "flash above a tenth of its peak, over above half", 3.3219, "", 1e-4, PRINTED, _DECAY),
    Published(
        "flash cut", "stops of a flash after 1 decay time, cut by the shutter", 0.662, "stops", 5e-4, PRINTED, _DECAY
    ),
    Published("flash cut later", "the same after 2 decay times", 0.210, "stops", 5e-4, PRINTED, _DECAY),
    Published("ratio", "lighting ratio of 3 : 1", 1.585, "stops", 5e-4, PRINTED, "definition of a stop"),
    Published("marked stop", "f/11 as marked against its exact stop", -0.081, "stops", 5e-4, PRINTED, "ISO 517"),
    Published(
        "neutral 1.1", "map behind a neutral filter of 1.1 stops", 46.7, "%", 0.05, PRINTED, "definition of a stop"
    ),
    Published(
        "neutral 1.5", "map behind a neutral filter of 1.5 stops", 35.4, "%", 0.05, PRINTED, "definition of a stop"
    ),
    Published("density 0.15", "map behind density 0.15", 70.795, "%", 1e-3, PRINTED, _DENSITY),
    Published("density 1.2", "map behind density 1.2", 6.310, "%", 1e-3, PRINTED, _DENSITY),
    Published(
        "densities add",
        "map behind the sheets neutral-1 and neutral-2, density 0.9",
        12.589,
        "%",
        1e-3,
        PRINTED,
        _DENSITY,
    ),
    Published("density in stops", "density 3.0, as ten sheets of ND 0.3", 9.966, "stops", 5e-4, PRINTED, _DENSITY),
    Published(
        "full warm",
        "full-warm before a flash of 5600 K",
        159.0,
        "mired",
        3.0,
        "daylight lies off the black body",
        _SHEETS,
    ),
    Published(
        "half warm", "half-warm before the same", 109.0, "mired", 3.0, "daylight lies off the black body", _SHEETS
    ),
    Published(
        "full cool",
        "full-cool before tungsten of 3200 K",
        -137.0,
        "mired",
        3.0,
        "daylight lies off the black body",
        _SHEETS,
    ),
    Published(
        "half cool", "half-cool before the same", -78.0, "mired", 3.0, "daylight lies off the black body", _SHEETS
    ),
    Published("full warm cost", "what full-warm costs a flash", 1.1, "stops", 0.37, _DYES, _SHEET_COST),
    Published("full cool cost", "what full-cool costs tungsten", 1.5, "stops", 0.37, _DYES, _SHEET_COST),
    Published("half cool cost", "what half-cool costs tungsten", 1.0, "stops", 0.37, _DYES, _SHEET_COST),
    Published(
        "nearest temperature",
        "colour temperature nearest to D65",
        6502.7,
        "K",
        1.0,
        "black bodies every 2 mired",
        "luxpy 1.12.5",
    ),
    Published("off the curve", "the same: how far off, D_uv", 0.0032, "", 5e-5, PRINTED, "luxpy 1.12.5"),
    Published(
        "led chip",
        "LED chip, a half width off its peak",
        0.127118,
        "",
        1e-6,
        PRINTED,
        "Ohno, Optical Engineering 44, 111302 (2005)",
    ),
)

COMPUTE: dict[str, Callable[[], float]] = {
    "ev to lux": lambda: exposure.illuminance_for_exposure_value(15.0),
    "ev to lux low": lambda: exposure.light_for_reading(1.0, 100.0, 2.0**-3),
    "ev to luminance": lambda: exposure.luminance_for_settings(1.0, 2.0**-13, 100.0),
    "sunny luminance": lambda: exposure.luminance_for_settings(16.0, 1 / 125, 125.0),
    "sunny lux": lambda: exposure.light_for_reading(16.0, 125.0, 1 / 125),
    "settings to lux": lambda: exposure.light_for_reading(8.0, 100.0, 1 / 125),
    "flash f/16": lambda: exposure.light_for_reading(16.0, 100.0),
    "flash by a dome": lambda: exposure.light_for_reading(8.0, 100.0, None, exposure.C_DOME),
    "guide number": lambda: exposure.f_number_for_guide_number(36.0, 4.5),
    "guide number light": lambda: exposure.light_for_reading(exposure.f_number_for_guide_number(36.0, 1.0), 100.0),
    "guide number iso": lambda: exposure.guide_number(3240.0, 200.0),
    "guide number half": lambda: exposure.guide_number(0.5 * 3240.0),
    "meter's grey": lambda: (
        100.0
        * math.pi
        * exposure.luminance_for_settings(8.0, 1 / 60, 100.0)
        / exposure.light_for_reading(8.0, 100.0, 1 / 60)
    ),
    "flash tenth": lambda: exposure.duration_tenth_from_half(1.0),
    "flash cut": lambda: exposure.stops_cut_by_shutter(1.0, math.log(2.0)),
    "flash cut later": lambda: exposure.stops_cut_by_shutter(2.0, math.log(2.0)),
    "ratio": lambda: float(exposure.stops_between(3.0, 1.0)),
    "marked stop": lambda: float(exposure.stops_between_f_numbers(11.0, 2.0**3.5)),
    "neutral 1.1": lambda: _passed('{ kind = "neutral", stops = 1.1 }'),
    "neutral 1.5": lambda: _passed('{ kind = "neutral", stops = 1.5 }'),
    "density 0.15": lambda: _passed('{ kind = "neutral", density = 0.15 }'),
    "density 1.2": lambda: _passed('{ kind = "neutral", density = 1.2 }'),
    "densities add": lambda: _passed('{ name = "neutral-1" }, { name = "neutral-2" }'),
    "density in stops": lambda: 10.0 * -math.log2(float(named_filter("ND 0.3").spectrum[35])),
    "full warm": lambda: _shift("full-warm", "daylight"),
    "half warm": lambda: _shift("half-warm", "daylight"),
    "full cool": lambda: _shift("full-cool", "tungsten"),
    "half cool": lambda: _shift("half-cool", "tungsten"),
    "full warm cost": lambda: _cost("full-warm", "daylight"),
    "full cool cost": lambda: _cost("full-cool", "tungsten"),
    "half cool cost": lambda: _cost("half-cool", "tungsten"),
    "nearest temperature": lambda: nearest_temperature((0.31271, 0.32902))[0],
    "off the curve": lambda: nearest_temperature((0.31271, 0.32902))[1],
    "led chip": _chip,
}
