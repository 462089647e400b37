"""Blur from plain numbers, before there is a scene: a lens, its stop, where it is focused, and what is wrong by how
much.

Thin lens and similar triangles (OpenStax, University Physics Volume 3, "Thin Lenses"); colours from the glass
(`optics.dispersion`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from projector.faults import Fault, SceneError, faults_above_zero, faults_within
from projector.optics import dispersion, thin_lens
from projector.shown import Shown

# No stencil stands farther off its plane than this (mm); beyond it the numbers mean nothing.
FARTHEST_OFF_MM = 1e6


@dataclass(frozen=True, repr=False)
class Blur(Shown):
    """What a point of the stencil becomes on a square wall; discs and edges (10–90 %) in mm on the wall.

    tube_length_mm: stencil to lens as it stands; sharp_m: what is sharp so, None if nothing before the lens is;
    lens_deg: angle under which the wall sees the whole pupil, which is what shadows go by; blue_disc_mm, red_disc_mm:
        at 486.1 and 656.3 nm, None without a glass; f_number_wanted, cost_stops: the stop that brings edges within the
        wanted width and what it costs if the pupil is filled, None if none was wanted or it needs no smaller one;
        focuses_m,
    offsets_mm: the focuses that give just the wanted width on the wall, the nearer first (infinite past infinity), and
        how far
    the stencil then stands from its place for a sharp wall (positive: towards the lamp); none if none was wanted.
    """

    in_one_line = (
        "{focal_length_mm:g} mm at f/{f_number:g}, on a wall at {wall_m:g} m: disc {blur_mm:.2f} mm,"
        " edges {edge_mm:.2f} mm"
    )

    focal_length_mm: float
    f_number: float
    pupil_mm: float
    tube_length_mm: float
    sharp_m: float | None
    wall_m: float
    magnification: float
    blur_mm: float
    edge_mm: float
    lens_deg: float
    blue_disc_mm: float | None
    red_disc_mm: float | None
    f_number_wanted: float | None
    cost_stops: float | None
    focuses_m: tuple[float, ...] = ()
    offsets_mm: tuple[float, ...] = ()


def blur(
    focal_length_mm: float,
    f_number: float,
    throw_m: float,
    wall_m: float | None = None,
    stencil_off_mm: float = 0.0,
    glass: str | None = None,
    within_mm: float | None = None,
) -> Blur:
    """The blur of a lens focused at its throw, on a wall there or elsewhere, with the stencil in its plane or off it.

    Lens, stencil and edges in mm, throw and wall in m. stencil_off_mm: away from the lens (towards the lamp) is
    positive. glass: of a single element, such as "N-BK7". within_mm: a wanted edge width. SceneError naming every value
    that cannot be.

    >>> found = blur(focal_length_mm=85, f_number=1.8, throw_m=2, wall_m=2.06)
    >>> round(found.blur_mm, 2), round(found.edge_mm, 2)
    (1.42, 0.97)
    """
    wall_m = throw_m if wall_m is None else wall_m
    _check(focal_length_mm, f_number, throw_m, wall_m, stencil_off_mm, glass, within_mm)
    focal_length, pupil = 1e-3 * focal_length_mm, 1e-3 * focal_length_mm / f_number
    tube = thin_lens.conjugate_distance(focal_length, throw_m) + 1e-3 * stencil_off_mm
    if tube <= 0.0:
        raise SceneError(
            Fault(
                found=f"a stencil {-stencil_off_mm:g} mm nearer to the lens than its plane",
                allowed=f"less than {1e3 * tube - stencil_off_mm:.1f} mm",
                key="stencil_off_mm",
            )
        )
    magnification = thin_lens.magnification(tube, wall_m)

    def disc(relative_power: float) -> float:
        sharp = thin_lens.inverse_conjugate(relative_power / focal_length, tube)
        return 1e3 * magnification * thin_lens.gate_blur_diameter(pupil, tube, sharp, 1.0 / wall_m)

    inverse_sharp = thin_lens.inverse_conjugate(1.0 / focal_length, tube)
    found = disc(1.0)
    edge = found * thin_lens.DISC_EDGE_10_90
    blue, red = (
        (None, None)
        if glass is None
        else (
            disc(float(dispersion.singlet_relative_power(glass, line)))
            for line in (dispersion.LINE_F_NM, dispersion.LINE_C_NM)
        )
    )
    wanted = f_number * edge / within_mm if within_mm is not None and edge > within_mm else None
    focuses, offsets = ((), ()) if within_mm is None else _focuses(focal_length, pupil, wall_m, 1e-3 * within_mm)
    return Blur(
        focal_length_mm=focal_length_mm,
        f_number=f_number,
        pupil_mm=1e3 * pupil,
        tube_length_mm=1e3 * tube,
        sharp_m=1.0 / inverse_sharp if inverse_sharp > 1e-9 else None,
        wall_m=wall_m,
        magnification=magnification,
        blur_mm=found,
        edge_mm=edge,
        lens_deg=math.degrees(2.0 * math.atan(0.5 * pupil / wall_m)),
        blue_disc_mm=blue,
        red_disc_mm=red,
        f_number_wanted=wanted,
        cost_stops=None if wanted is None else 2.0 * math.log2(wanted / f_number),
        focuses_m=focuses,
        offsets_mm=offsets,
    )


def _focuses(
    focal_length: float, pupil: float, wall: float, width: float
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Where a lens has to be focused (m) for an edge so wide (m) on a wall, and the stencil's way (mm) from its place
    for a sharp wall.

    0.687·D·|Z/z − 1| = w solved for 1/z = (1 ± w/(0.687·D))/Z; past infinity the stencil is nearer than the focal
    length. No wall within the focal length is ever sharp: then there is no such place to count from.
    """
    if wall <= focal_length:
        return (), ()
    share = width / (thin_lens.DISC_EDGE_10_90 * pupil)
    sharp = thin_lens.conjugate_distance(focal_length, wall)
    inverses = [(1.0 + sign * share) / wall for sign in (1.0, -1.0)]
    # A focus at the lens's own focal length or nearer has no place for the stencil.
    inverses = [inverse for inverse in inverses if inverse < 1.0 / focal_length]
    focuses = tuple(1.0 / inverse if inverse > 0.0 else math.inf for inverse in inverses)
    return focuses, tuple(1e3 * (1.0 / (1.0 / focal_length - inverse) - sharp) for inverse in inverses)


def _check(focal_length_mm, f_number, throw_m, wall_m, stencil_off_mm, glass, within_mm) -> None:
    faults = faults_above_zero(
        focal_length_mm=focal_length_mm, f_number=f_number, throw_m=throw_m, wall_m=wall_m, within_mm=within_mm
    )
    faults += faults_within(-FARTHEST_OFF_MM, FARTHEST_OFF_MM, stencil_off_mm=stencil_off_mm)
    if glass is not None:
        try:
            dispersion.find_material(glass)
        except ValueError as error:
            faults.append(Fault(found=str(error), allowed="a glass by its catalogue name, such as N-BK7", key="glass"))
    if not faults and throw_m <= 1e-3 * focal_length_mm:
        faults.append(
            Fault(
                found=f"a throw of {throw_m:g} m with a lens of {focal_length_mm:g} mm",
                allowed="more than the focal length",
                try_="go back",
                key="throw_m",
            )
        )
    if faults:
        raise SceneError(faults)
