"""Colour fringes measured from rendered edges: axial and lateral colour of single lenses and achromats.

Widths of single wavelengths come from narrow bands of light, so that what is measured is geometry and not a mixture.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.optics import dispersion, thin_lens
from projector.rendering.maps.irradiance import irradiance_map

LINES = {"F": dispersion.LINE_F_NM, "d": dispersion.LINE_D_NM, "C": dispersion.LINE_C_NM}


def narrow(line_nm):
    return [{"kind": "band", "centre_nm": line_nm, "width_nm": 5.0}]


def edge_scene(studio, lens, line_nm, wall=0.03, **others):
    """The set-up of the published numbers: f_d 100 mm, gate 103 mm behind it, pupil 25 mm, wall at 3433.333 mm."""
    distance = 1.0 / (1.0 / 0.1 - 1.0 / 0.103)
    projector = {
        "position_m": [0.0, 1.5, distance],
        "lens": {"focal_length_mm": 100.0, "f_number": 4.0, **lens},
        "focus": {"distance_m": distance},
        "source": {"kind": "equal_energy"},
        "stencil": {"file": studio.half_plane(2048), "width_mm": 12.0},
        "filter": narrow(line_nm),
        "reading": {"distance_m": distance},
        **others,
    }
    return studio.scene(projector, {"width_m": wall, "height_m": max(0.001, 0.1 * wall)})


def rise(studio, ruler, lens, line_nm, **others):
    found = irradiance_map(edge_scene(studio, lens, line_nm, **others), n_across=300)
    x, _ = ruler.axes(found)
    values = found.irradiance[found.irradiance.shape[0] // 2]
    return ruler.edge_width(x, values), ruler.crossings(x, values, 0.5 * values.max())[0]


@pytest.mark.parametrize(("line", "blur_mm"), [("F", 9.26139), ("C", 4.11510)])
def test_a_crown_singlet_blurs_blue_and_red_as_its_glass_says(studio, ruler, line, blur_mm):
    """D·z·|1/f_λ − 1/f_d| with N-BK7's Sellmeier coefficients (refractiveindex.info): F 9.26139 mm, C 4.11510 mm; 3 %
    as for any edge.

    The source grid has steps of 5 nm: a narrow band's light sits at the nearest step, worth up to 2 % of these blurs,
    so the expected width is taken at that step; the published pair is checked beside it.
    """
    step = 5.0 * round(LINES[line] / 5.0)
    width, _ = rise(studio, ruler, {"dispersion": {"glass": "N-BK7"}}, LINES[line])
    distance = 1.0 / (1.0 / 0.1 - 1.0 / 0.103)
    at_line = 1e3 * 0.025 * distance * abs(dispersion.singlet_relative_power("N-BK7", LINES[line]) - 1.0) / 0.1
    at_step = 1e3 * 0.025 * distance * abs(dispersion.singlet_relative_power("N-BK7", step) - 1.0) / 0.1
    assert at_line == pytest.approx(blur_mm, rel=1e-4)
    assert 1e3 * width == pytest.approx(thin_lens.DISC_EDGE_10_90 * at_step, rel=0.03)


def test_yellow_is_sharp_where_blue_and_red_are_not(studio, ruler):
    lens = {"dispersion": {"glass": "N-BK7"}}
    widths = {line: rise(studio, ruler, lens, nm)[0] for line, nm in LINES.items()}
    assert widths["d"] < 0.1 * widths["C"] < widths["F"]


def test_an_achromat_brings_blue_and_red_together(studio, ruler):
    """N-BK7 + F2 (an independent paraxial trace gives f_F = f_C = 100.049956 mm): what is left is a tenth of the
    singlet's blur or less.
    """
    lens = {"dispersion": {"achromat": ["N-BK7", "F2"]}}
    # A fine bitmap (1 µm a pixel), so that what little blur is left spans 12 of them.
    fine = {"stencil": {"file": studio.half_plane(2048), "width_mm": 2.0}}
    distance = 1.0 / (1.0 / 0.1 - 1.0 / 0.103)
    for line in ("F", "C"):
        step = 5.0 * round(LINES[line] / 5.0)
        width, _ = rise(studio, ruler, lens, LINES[line], wall=0.003, **fine)
        power = float(dispersion.achromat_relative_power("N-BK7", "F2", step))
        assert width == pytest.approx(thin_lens.DISC_EDGE_10_90 * 0.025 * distance * abs(power - 1.0) / 0.1, rel=0.05)
        assert dispersion.achromat_relative_power("N-BK7", "F2", LINES[line]) == pytest.approx(
            100.0 / 100.04996, rel=1e-6
        )


def test_a_single_lens_with_its_stop_has_no_lateral_colour(studio, ruler):
    """A thin lens with the stop at it does not bend the chief ray (W.

    J. Smith, Modern Optical Engineering, ch. 5): no shift.
    """
    places = [rise(studio, ruler, {"dispersion": {"glass": "N-BK7"}}, nm)[1] for nm in (450.0, 650.0)]
    assert places[0] == pytest.approx(places[1], abs=2e-4)


def off_axis(studio, size=2048):
    """Open beyond 9 mm to the right in a bitmap 24 mm wide."""
    values = np.zeros((size, size))
    values[:, int(size * (12.0 + 9.0) / 24.0) :] = 1.0
    return studio.bitmap("aside.png", values)


def test_lateral_colour_shifts_blue_outwards_by_what_was_entered(studio, ruler):
    """0.1 mm in the gate's edge between 450 and 650 nm; at 9 mm of 12 it is three quarters, on the wall times the
    magnification.
    """
    distance = 1.0 / (1.0 / 0.1 - 1.0 / 0.103)
    magnification = distance / 0.103
    places = []
    for nm in (450.0, 650.0):
        projector = {
            "position_m": [0.0, 1.5, distance],
            "gate": {"diameter_mm": 24.0},
            "lens": {"focal_length_mm": 100.0, "f_number": 16.0, "lateral_colour_mm": 0.1},
            "focus": {"distance_m": distance},
            "source": {"kind": "equal_energy"},
            "stencil": {"file": off_axis(studio), "width_mm": 24.0},
            "filter": narrow(nm),
            "reading": {"distance_m": distance},
        }
        wall = {"position_m": [0.009 * magnification, 1.5, 0.0], "width_m": 0.03, "height_m": 0.003}
        found = irradiance_map(
            studio.scene(projector, surfaces=[{"name": "wall", "shape": "flat", **wall}]), n_across=400
        )
        x, _ = ruler.axes(found)
        values = found.irradiance[found.irradiance.shape[0] // 2]
        places.append(ruler.crossings(x, values, 0.5 * values[-5:].mean())[0])
    edge = (21.0 * 2048 / 24.0 // 1) / 2048 * 24.0 - 12.0
    assert places[0] - places[1] == pytest.approx(0.1e-3 * edge / 12.0 * magnification, rel=0.03)


def test_the_rim_changes_sides_through_focus(studio):
    """Axial colour: nearer than the sharp distance the rim is of one colour, beyond it of the other (common practice,
    no source).
    """
    rims = []
    for offset in (-3.0, 3.0):
        projector = {
            "lens": {"f_number": 1.8, "dispersion": {"glass": "N-BK7"}},
            "focus": {"distance_m": 2.0, "offset_mm": offset},
            "stencil": {"file": studio.half_plane(2048), "width_mm": 20.0},
        }
        reds, blues = [], []
        for nm, where in ((450.0, blues), (650.0, reds)):
            scene = studio.scene({**projector, "filter": narrow(nm)}, {"width_m": 0.12, "height_m": 0.012})
            values = irradiance_map(scene, n_across=200).irradiance[10]
            where.append(values / values.max())
        rims.append((blues[0] - reds[0])[:100].sum())
    assert rims[0] * rims[1] < 0.0
