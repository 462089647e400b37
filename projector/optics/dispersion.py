"""Refractive index of lens materials, and how the power of a lens follows it through the spectrum.

Wavelengths in nm, measured in air. A lens is described by its relative power φ(λ)/φ(587.56 nm) = f_d/f(λ): the thin
lens with 1/f(λ) = relative power / f_d then has the axial colour of the real one.

Coefficients: refractiveindex.info database (CC0), M. N. Polyanskiy, Scientific Data 11, 94 (2024),
doi 10.1038/s41597-023-02898-2; the page of each material stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Spectral lines of optical glass catalogues (hydrogen F and C, helium d, mercury e and g), nm in air.
LINE_G_NM = 435.8343
LINE_F_NM = 486.1327
LINE_E_NM = 546.0740
LINE_D_NM = 587.5618
LINE_C_NM = 656.2725

# The two wavelengths between which lateral colour is stated.
LATERAL_BLUE_NM = 450.0
LATERAL_RED_NM = 650.0


@dataclass(frozen=True)
class Material:
    """Sellmeier coefficients of one material: n² − 1 = Σ B·λ²/(λ² − C), λ in µm, C in µm².

    database_page: in the refractiveindex.info database; shortest_nm, longest_nm: where its formula holds.
    """

    b: tuple[float, ...]
    c: tuple[float, ...]
    database_page: str
    shortest_nm: float
    longest_nm: float


# The plastics were measured from 437 nm up; below, their formula is continued to 380 nm, where n is some 0.001 less
# sure. Samples of plastic differ far more than those of glass: ±10 % on the Abbe number.
MATERIALS = {
    "N-BK7": Material(
        (1.03961212, 0.231792344, 1.01046945),
        (0.00600069867, 0.0200179144, 103.560653),
        "specs/SCHOTT-optical/N-BK7",
        300.0,
        2500.0,
    ),
    "N-SF11": Material(
        (1.73759695, 0.313747346, 1.89878101),
        (0.013188707, 0.0623068142, 155.23629),
        "specs/SCHOTT-optical/N-SF11",
        370.0,
        2500.0,
    ),
    "F2": Material(
        (1.34533359, 0.209073176, 0.937357162),
        (0.00997743871, 0.0470450767, 111.886764),
        "specs/SCHOTT-optical/F2",
        320.0,
        2500.0,
    ),
    "N-F2": Material(
        (1.39757037, 0.159201403, 1.2686543),
        (0.00995906143, 0.0546931752, 119.248346),
        "specs/SCHOTT-optical/N-F2",
        365.0,
        2500.0,
    ),
    # I. H. Malitson, J. Opt. Soc. Am. 55, 1205 (1965); he prints the square roots of C.
    "fused silica": Material(
        (0.6961663, 0.4079426, 0.8974794),
        (0.0684043**2, 0.1162414**2, 9.896161**2),
        "main/SiO2/Malitson",
        210.0,
        3710.0,
    ),
    # N. Sultanova, S. Kasarova, I. Nikolov, Acta Physica Polonica A 116, 585 (2009).
    "PMMA": Material((1.1819,), (0.011313,), "organic/poly_methyl_methacrylate/Sultanova", 380.0, 1052.0),
    "polycarbonate": Material((1.4182,), (0.021304,), "organic/polycarbonate/Sultanova", 380.0, 1052.0),
}


def find_material(name: str) -> Material:
    """The material of that name, whatever its case. An unknown name is a ValueError that lists the known ones."""
    for known, material in MATERIALS.items():
        if known.casefold() == name.strip().casefold():
            return material
    raise ValueError(
        f"no material is called {name!r}; known are: {', '.join(MATERIALS)}. Another glass: give its Abbe number."
    )


def refractive_index(material: str, wavelength_nm):
    """Refractive index in air at wavelengths (nm), shape as given, by the Sellmeier formula of the material.

    ValueError for an unknown material or a wavelength outside its formula's range.
    """
    entry = find_material(material)
    wavelength_nm = np.asarray(wavelength_nm, dtype=float)
    if not np.all((wavelength_nm >= entry.shortest_nm) & (wavelength_nm <= entry.longest_nm)):
        raise ValueError(f"{material} is known from {entry.shortest_nm:g} to {entry.longest_nm:g} nm only.")
    square = (wavelength_nm * 1e-3) ** 2
    total = 1.0 + sum(b * square / (square - c) for b, c in zip(entry.b, entry.c, strict=True))
    return np.sqrt(total)


def abbe_number(material: str) -> float:
    """V_d = (n_d − 1) / (n_F − n_C) of a material, a plain number (ISO 7944 names the lines)."""
    index_f, index_d, index_c = refractive_index(material, [LINE_F_NM, LINE_D_NM, LINE_C_NM])
    return float((index_d - 1.0) / (index_f - index_c))


def cauchy_coordinate(wavelength_nm):
    """(1/λ² − 1/λ_d²) / (1/λ_F² − 1/λ_C²): 0 at the d line, one unit from C to F, positive towards blue.

    λ in nm, shape as given. In Cauchy's formula n = a + b/λ² (any optics text) the index runs straight in it.
    """
    inverse_square = np.asarray(wavelength_nm, dtype=float) ** -2.0
    return (inverse_square - LINE_D_NM**-2.0) / (LINE_F_NM**-2.0 - LINE_C_NM**-2.0)


def cauchy_index(index_d: float, abbe: float, wavelength_nm):
    """n = a + b/λ² (Cauchy) at wavelengths (nm), shape as given, from n_d and Abbe number: what can be said of a glass
    of which no more is known.
    """
    return index_d + (index_d - 1.0) / abbe * cauchy_coordinate(wavelength_nm)


def singlet_relative_power(glass: str, wavelength_nm):
    """(n − 1)/(n_d − 1) at wavelengths (nm), shape as given: the thin lens of one glass (lensmaker's equation)."""
    return (refractive_index(glass, wavelength_nm) - 1.0) / (refractive_index(glass, LINE_D_NM) - 1.0)


def abbe_relative_power(abbe: float, wavelength_nm):
    """φ(λ)/φ(d) of the thin lens of which only the Abbe number is known, at wavelengths (nm), shape as given.

    With Cauchy's formula n_d cancels out of the lensmaker's equation: 1 + coordinate / V.
    """
    return 1.0 + cauchy_coordinate(wavelength_nm) / abbe


def achromat_powers(crown_abbe: float, flint_abbe: float) -> tuple[float, float]:
    """Powers of the two thin lenses of an achromat of power 1: V₁/(V₁ − V₂) and −V₂/(V₁ − V₂), F and C sharing a focus.

    The textbook thin achromat (W. J. Smith, Modern Optical Engineering; Wikipedia, "Achromatic lens"). ValueError if
    the Abbe numbers are less than 1 apart, where the two powers grow beyond anything that could be ground.
    """
    difference = crown_abbe - flint_abbe
    if abs(difference) < 1.0:
        raise ValueError(
            f"the two glasses disperse alike (Abbe numbers {crown_abbe:.1f} and {flint_abbe:.1f}); an achromat needs"
            " two that differ."
        )
    return crown_abbe / difference, -flint_abbe / difference


def achromat_relative_power(crown: str, flint: str, wavelength_nm):
    """φ(λ)/φ(d) at wavelengths (nm), shape as given, of two thin lenses of these glasses in contact, balanced for F and
    C (`achromat_powers`). What remains is the secondary spectrum.
    """
    crown_power, flint_power = achromat_powers(abbe_number(crown), abbe_number(flint))
    return crown_power * singlet_relative_power(crown, wavelength_nm) + flint_power * singlet_relative_power(
        flint, wavelength_nm
    )


def secondary_spectrum_relative_power(shift_mm: float, focal_length_mm: float, wavelength_nm):
    """φ(λ)/φ(d) at wavelengths (nm), shape as given, of a corrected lens whose F and C foci coincide `shift_mm` beyond
    its d focus (negative: short of it).

    The focal length is taken as quadratic in Cauchy's coordinate, through 0 at d and the shift at F and C. Against
    the thin achromat of N-BK7 and F2, f = 100 mm, it gives 0.248 mm instead of 0.223 mm at 435.8 nm.
    """
    at_f, at_c = cauchy_coordinate(LINE_F_NM), cauchy_coordinate(LINE_C_NM)
    coordinate = cauchy_coordinate(wavelength_nm)
    parabola = coordinate * (coordinate - at_f - at_c) / -(at_f * at_c)
    return focal_length_mm / (focal_length_mm + shift_mm * parabola)


def relative_power(
    wavelengths_nm,
    *,
    glass: str | None = None,
    abbe_number: float | None = None,
    achromat: tuple[str, str] | None = None,
    secondary_spectrum_mm: float | None = None,
    focal_length_mm: float | None = None,
) -> np.ndarray:
    """φ(λ)/φ(d) at wavelengths (nm), shape as given, for the one description that is not None; all ones without any.

    A secondary spectrum needs the focal length for which it is stated. ValueError for more descriptions than one.
    """
    wavelengths_nm = np.asarray(wavelengths_nm, dtype=float)
    given = [value for value in (glass, abbe_number, achromat, secondary_spectrum_mm) if value is not None]
    if len(given) > 1:
        raise ValueError(
            "a lens has one dispersion: give a glass, an Abbe number, an achromat's two glasses or a secondary"
            " spectrum."
        )
    if glass is not None:
        return singlet_relative_power(glass, wavelengths_nm)
    if abbe_number is not None:
        return abbe_relative_power(abbe_number, wavelengths_nm)
    if achromat is not None:
        return achromat_relative_power(achromat[0], achromat[1], wavelengths_nm)
    if secondary_spectrum_mm is not None:
        if focal_length_mm is None:
            raise ValueError("a secondary spectrum in mm needs the focal length it belongs to.")
        return secondary_spectrum_relative_power(secondary_spectrum_mm, focal_length_mm, wavelengths_nm)
    return np.ones_like(wavelengths_nm)


def lateral_colour_share(wavelengths_nm, glass: str | None = None) -> np.ndarray:
    """(n − n_d)/(n_450 − n_650): the part of a lens's lateral colour between 450 and 650 nm that each wavelength shows.

    Wavelengths in nm, shape as given. 0 at the d line, positive towards blue. Without a glass, n runs straight in 1/λ²
    (Cauchy).
    """
    if glass is None:
        blue, red = cauchy_coordinate([LATERAL_BLUE_NM, LATERAL_RED_NM])
        return cauchy_coordinate(wavelengths_nm) / (blue - red)
    blue, red, yellow = refractive_index(glass, [LATERAL_BLUE_NM, LATERAL_RED_NM, LINE_D_NM])
    return (refractive_index(glass, wavelengths_nm) - yellow) / (blue - red)
