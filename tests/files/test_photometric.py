"""Photometric files: every edition read whole, the light counted, faults named with their line."""

from __future__ import annotations

import math

import numpy as np
import pytest

from projector.faults import SceneError
from projector.files.photometric import read_photometric_file

ANGLES = " ".join(str(angle) for angle in range(0, 95, 5))
COSINE = " ".join(f"{1000.0 * math.cos(math.radians(angle)):.9f}" for angle in range(0, 95, 5))
HEAD = "1 -1 1 19 1 1 2 0.1 0.1 0\n1 1 50\n"


def written(tmp_path, text, name="lamp.ies"):
    path = tmp_path / name
    path.write_text(text)
    return path


def lambertian(first_line="IESNA:LM-63-2002", labels="[TEST] none\n[MORE] of it\n", tilt="TILT=NONE", head=HEAD):
    return f"{first_line}\n{labels}{tilt}\n{head}{ANGLES}\n0\n{COSINE}\n"


@pytest.mark.parametrize(
    ("first_line", "year"),
    [
        ("IESNA91", 1991),
        ("IESNA:LM-63-1995", 1995),
        ("IESNA:LM-63-2002", 2002),
        ("IES:LM-63-2019", 2019),
        ("A LAMP OF 1986", 1986),
    ],
)
def test_every_edition_is_read(tmp_path, first_line, year):
    found = read_photometric_file(written(tmp_path, lambertian(first_line)))
    assert found.edition == year
    assert found.lumens is None and found.watts == 50.0 and found.type == "C"


def test_the_flux_of_a_cosine_lamp_is_pi_times_its_axis(tmp_path):
    """I = 1000·cos γ over a half space gives 1000·π lm (definition of the lumen). Straight lines between angles of 5°
    lose h²/12 of the second derivative: 0.06 %."""
    found = read_photometric_file(written(tmp_path, lambertian()))
    assert found.flux() == pytest.approx(1000.0 * math.pi, rel=7e-4)


def test_the_flux_of_an_even_lamp_is_exact(tmp_path):
    even = " ".join(["100"] * 19)
    found = read_photometric_file(written(tmp_path, f"IESNA91\nTILT=NONE\n{HEAD}{ANGLES}\n0\n{even}\n"))
    assert found.flux() == pytest.approx(100.0 * 2.0 * math.pi, rel=1e-12)


def test_intensity_follows_the_angle_from_the_axis(tmp_path):
    found = read_photometric_file(written(tmp_path, lambertian()))
    directions = np.array([[0, 0, 1], [math.sin(0.5), 0, math.cos(0.5)], [0, -1, 0], [0, 0, -1]], float)
    assert found.intensity(directions) == pytest.approx([1000.0, 1000.0 * math.cos(0.5), 0.0, 0.0], abs=1.0)


def quadrant(tmp_path, horizontals, kind=1, verticals=(0, 45, 90)):
    """A lamp whose candela name the place: 100·plane + row."""
    values = "\n".join(" ".join(str(100 * (i + 1) + j) for j in range(len(verticals))) for i in range(len(horizontals)))
    head = f"1 1000 2 {len(verticals)} {len(horizontals)} {kind} 1 1 1 0\n1 1 50\n"
    angles = f"{' '.join(map(str, verticals))}\n{' '.join(map(str, horizontals))}\n"
    text = f"IESNA:LM-63-1995\nTILT=NONE\n{head}{angles}{values}\n"
    return read_photometric_file(written(tmp_path, text))


def towards(vertical_deg, horizontal_deg):
    v, h = math.radians(vertical_deg), math.radians(horizontal_deg)
    return np.array([[math.sin(v) * math.cos(h), -math.sin(v) * math.sin(h), math.cos(v)]])


@pytest.mark.parametrize(
    ("horizontals", "turn", "same_as"),
    [
        ((0, 90), 200, 20),
        ((0, 90), 110, 70),
        ((0, 90), 340, 20),
        ((0, 90, 180), 250, 110),
        ((0, 90, 180, 270, 360), 250, 250),
        ((90, 180, 270), 20, 160),
        ((90, 180, 270), 340, 200),
    ],
)
def test_the_last_horizontal_angle_says_the_symmetry(tmp_path, horizontals, turn, same_as):
    found = quadrant(tmp_path, horizontals)
    assert found.intensity(towards(45, turn)) == pytest.approx(found.intensity(towards(45, same_as)))
    assert found.opening_m[0] == pytest.approx(0.3048)


def test_planes_are_interpolated_and_factors_count(tmp_path):
    found = quadrant(tmp_path, (0, 90))
    # Planes hold 101 and 201 at 45°; the multiplier is 2.
    assert found.intensity(towards(45, 45)) == pytest.approx([2.0 * 151.0])
    assert found.lumens == 1000.0


def test_an_even_lamp_of_type_b_gives_the_solid_angle_that_it_covers(tmp_path):
    head = "1 -1 1 2 2 2 2 0.1 0.1 0\n1 1 50\n"
    found = read_photometric_file(written(tmp_path, f"IESNA91\nTILT=NONE\n{head}-90 90\n-90 90\n100 100\n100 100\n"))
    # The half space before the lamp: 2π sr. The grid of directions cuts its rim to 1/720.
    assert found.flux() == pytest.approx(100.0 * 2.0 * math.pi, rel=2e-3)


def test_the_reserved_place_of_2019_is_a_code_and_no_factor(tmp_path):
    head = "1 -1 1 19 1 1 2 0.1 0.1 0\n1 1.10000 50\n"
    old = read_photometric_file(written(tmp_path, lambertian(head=head)))
    new = read_photometric_file(written(tmp_path, lambertian("IES:LM-63-2019", head=head)))
    assert old.candela[0, 0] == pytest.approx(1100.0)
    assert new.candela[0, 0] == pytest.approx(1000.0)


def test_a_tilt_table_is_passed_over_with_a_note(tmp_path):
    found = read_photometric_file(written(tmp_path, lambertian(tilt="TILT=INCLUDE\n1\n2\n0 90\n1 0.9")))
    assert found.candela[0, 0] == pytest.approx(1000.0)
    assert "tilted" in found.notes[0]


@pytest.mark.parametrize(
    ("text", "said", "line"),
    [
        ("", "empty", None),
        ("\n\n", "blank", None),
        ("IESNA91\n[TEST] x\n1 2 3\n", "TILT", None),
        ("IESNA91\nTILT=\n", "says nothing", 2),
        ("IESNA91\nTILT=NONE\n1 -1 1 2\n", "ends before its number of horizontal angles", None),
        (f"IESNA91\nTILT=NONE\n{HEAD}{ANGLES}\n0\n1 2 3\n", "39 more numbers", None),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n90 0\n0\n1 1\n", "do not rise", 5),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 4 2 0 0 0\n1 1 5\n0 90\n0\n1 1\n", "photometric type 4", 3),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n0 90\n0\n1 -1\n", "negative", 7),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n0 90\n0\n0 0\n", "every candela value is 0", 7),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n0 90\n0\n1 lots\n", '"lots"', 7),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n0 90\n0\n1 nan\n", '"nan"', 7),
        ("IESNA91\nTILT=NONE\n1 -1 0 2 1 1 2 0 0 0\n1 1 5\n0 90\n0\n1 1\n", "candela multiplier 0", 3),
        (
            "IESNA91\nTILT=NONE\n1 -1 1 2 2 1 2 0 0 0\n1 1 5\n0 90\n0 45\n1 1\n1 1\n",
            "horizontal angles from 0° to 45°",
            5,
        ),
        ("IESNA91\nTILT=NONE\n1 -1 1 2 1 1 2 0 0 0\n1 1 5\n0 60\n0\n1 1\n", "vertical angles from 0° to 60°", 5),
    ],
)
def test_what_is_wrong_is_said_with_its_line(tmp_path, text, said, line):
    with pytest.raises(SceneError) as caught:
        read_photometric_file(written(tmp_path, text))
    assert said in str(caught.value)
    assert caught.value.faults[0].line == line
    assert caught.value.faults[0].file == "lamp.ies"


def test_a_picture_is_no_photometric_file(tmp_path):
    path = tmp_path / "lamp.ies"
    path.write_bytes(b"\x89PNG\0\0\0")
    with pytest.raises(SceneError, match="not a text file"):
        read_photometric_file(path)


def test_cut_or_changed_files_never_raise_anything_else(tmp_path):
    whole = lambertian().encode()
    rng = np.random.default_rng(3)
    for _ in range(150):
        data = bytearray(whole[: rng.integers(1, len(whole))])
        for place in rng.integers(0, len(data), 3):
            data[place] = rng.integers(1, 256)
        path = tmp_path / "mutated.ies"
        path.write_bytes(bytes(data))
        try:
            found = read_photometric_file(path)
        except SceneError:
            continue
        assert np.isfinite(found.candela).all() and found.flux() >= 0.0
