"""What a published number is as data, and where the numbers were published.

The numbers themselves stand beside what computes them again: `lenses`, `lights`, `colours`, `exposures`, `haze`.
"""

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


PRINTED = "the printed figures"
