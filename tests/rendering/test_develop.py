"""The picture's last step against the spelled-out one: balance, gamut, clipping and IEC 61966-2-1,
one array at a time.
"""

from __future__ import annotations

import numpy as np
import pytest

from projector.photometry import colour, spectra
from projector.rendering.develop import develop
from projector.rendering.workers import Workers


def test_bytes_are_the_encoded_desaturated_colours():
    generator = np.random.default_rng(6)
    xyz = generator.uniform(0.0, 1.4, (60, 70, 3)).astype(np.float32)
    xyz[:20] *= np.float32(0.01)
    matrix = colour.linear_srgb_under_white(colour.white_balance_xyz(4300.0))
    linear = colour.desaturate_out_of_gamut(xyz @ matrix.T)
    exact = 255.0 * colour.encode_srgb(np.clip(linear, 0.0, 1.0))
    # Half a code of rounding, and the table's steps of 1/65535, which near black are 12.92 · 255 / 65535 / 2 = 0.025
    # code.
    assert np.abs(develop(xyz, matrix) - exact).max() < 0.5 + 0.026


# IEC 61966-2-1: 0.18 is code 117.65, 0.5 is 187.52.
@pytest.mark.parametrize("linear, code", [(0.0, 0), (0.18, 118), (0.5, 188), (1.0, 255), (7.0, 255)])
def test_greys_have_the_standards_codes(linear, code):
    xyz = (linear * colour.SRGB_WHITE_XYZ).astype(np.float32).reshape(1, 1, 3)
    np.testing.assert_array_equal(
        develop(xyz, np.ascontiguousarray(colour.LINEAR_SRGB_FROM_XYZ)), np.full((1, 1, 3), code)
    )


def test_a_card_under_the_light_that_the_camera_is_set_to_is_grey():
    for temperature_k in (2800.0, 3800.0, 5600.0):
        white = colour.xyz_from_spectrum(spectra.white_light(temperature_k))
        codes = develop(
            (0.18 * white).astype(np.float32).reshape(1, 1, 3),
            colour.linear_srgb_under_white(colour.white_balance_xyz(temperature_k)),
        )
        np.testing.assert_array_equal(codes, np.full((1, 1, 3), 118))


def test_any_number_of_threads_gives_the_same_bytes():
    xyz = np.random.default_rng(7).uniform(-0.1, 1.2, (301, 457, 3)).astype(np.float32)
    matrix = np.ascontiguousarray(colour.LINEAR_SRGB_FROM_XYZ)
    np.testing.assert_array_equal(develop(xyz, matrix), develop(xyz, matrix, Workers(3)))
