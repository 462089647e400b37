"""Glossy skins: Fresnel's numbers, a white furnace, turned light paths, and a plain sum over directions."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.optics import gloss


def directions(n=400):
    """Directions of the upper half space in cells of equal solid angle: (n², 3)."""
    height = (np.arange(n) + 0.5) / n
    turn = (np.arange(2 * n) + 0.5) / n * math.pi
    height, turn = (axis.ravel() for axis in np.meshgrid(height, turn, indexing="ij"))
    across = np.sqrt(1.0 - height**2)
    return np.stack([across * np.cos(turn), across * np.sin(turn), height], axis=1)


def summed_lobe(cosine_in, index, roughness):
    """Share of light from an angle that the lobe sends back, by a plain sum over outgoing directions."""
    out = directions()
    into = np.array([math.sqrt(1.0 - cosine_in**2), 0.0, cosine_in])
    half = out + into
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    values = [
        gloss.lobe(cosine_in, o[2], h[2], float(h @ into), index, roughness) * o[2]
        for o, h in zip(out[::7], half[::7], strict=True)
    ]
    return float(np.mean(values)) * 2.0 * math.pi


@pytest.mark.parametrize(("index", "share"), [(1.4, 0.027778), (1.5, 0.04), (1.33, 0.020059)])
def test_a_dielectric_reflects_square_on_what_fresnel_says(index, share):
    assert gloss.fresnel(1.0, index) == pytest.approx(share, abs=1e-6)
    assert gloss.fresnel(0.0, index) == pytest.approx(1.0)


def test_at_the_polarising_angle_half_of_the_share_is_gone():
    """At Brewster's angle only light polarised across is reflected: ((n² − 1)/(n² + 1))²/2."""
    n = 1.5
    cosine = math.cos(math.atan(n))
    assert gloss.fresnel(cosine, n) == pytest.approx(0.5 * ((n * n - 1.0) / (n * n + 1.0)) ** 2, rel=1e-12)


@pytest.mark.parametrize("roughness", [0.2, 0.35, 0.6])
@pytest.mark.parametrize("cosine", [0.9, 0.5, 0.25])
def test_the_table_is_the_lobe_summed_over_all_directions(cosine, roughness):
    """Steps of the plain sum (every seventh of 320,000 directions) leave 2 % of a lobe of roughness 0.2; the table is
    linear between entries.
    """
    skin = gloss.make_gloss(np.array([1.4]), np.array([roughness]))
    assert gloss.lobe_share(skin, 0, cosine) == pytest.approx(summed_lobe(cosine, 1.4, roughness), rel=0.02)


@pytest.mark.parametrize(("index", "roughness"), [(1.4, 0.05), (1.4, 0.4), (1.55, 0.25), (1.8, 0.8)])
def test_a_white_body_under_a_skin_sends_back_all_and_no_more(index, roughness):
    """White furnace: skin and body together send back 1 of even light at every angle."""
    skin = gloss.make_gloss(np.array([index]), np.array([roughness]))
    cosines = (np.arange(4000) + 0.5) / 4000
    for out in (0.02, 0.1, 0.3, 0.6, 0.95):
        body = 2.0 * np.mean([gloss.body_share(skin, 0, c, out) * c for c in cosines])
        whole = body + gloss.lobe_share(skin, 0, out)
        # The mean of the table by 64 places is good to a few ten thousandths, as lobes rise steeply towards grazing.
        assert whole == pytest.approx(1.0, abs=2e-3)


def test_light_paths_may_be_turned_round():
    skin = gloss.make_gloss(np.array([1.4]), np.array([0.3]))
    assert gloss.lobe(0.3, 0.8, 0.9, 0.7, 1.4, 0.3) == pytest.approx(gloss.lobe(0.8, 0.3, 0.9, 0.7, 1.4, 0.3))
    assert gloss.body_share(skin, 0, 0.3, 0.8) == pytest.approx(gloss.body_share(skin, 0, 0.8, 0.3))


@pytest.mark.parametrize("cosine", [0.9, 0.5, 0.3])
def test_a_nearly_smooth_skin_reflects_as_fresnel_says(cosine):
    """Mirrors that lean by 1/30 change the angle, and with it Fresnel's share, by a few per cent at the steepest of
    these.
    """
    skin = gloss.make_gloss(np.array([1.4]), np.array([0.03]))
    assert gloss.lobe_share(skin, 0, cosine) == pytest.approx(gloss.fresnel(cosine, 1.4), rel=0.03)


def test_grazing_light_shines_and_steep_light_does_not():
    """Why an edge light looks hotter than it meters."""
    skin = gloss.make_gloss(np.array([1.4]), np.array([0.3]))
    assert gloss.lobe_share(skin, 0, 0.08) > 4.0 * gloss.lobe_share(skin, 0, 0.95)


def test_no_skin_leaves_the_body_alone():
    skin = gloss.make_gloss(np.array([0.0, 1.4]), np.array([0.5, 0.5]))
    assert gloss.body_share(skin, 0, 0.2, 0.9) == 1.0 and gloss.body_share(skin, 1, 0.2, 0.9) < 1.0
