"""Results in a Python shell and a notebook: a line, a table with units, a picture, an array."""

from __future__ import annotations

import dataclasses
import io
import subprocess
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from PIL import Image

import projector
from projector import studies
from projector.faults import SceneError
from projector.shown import Shown


def pixels_of(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


@pytest.fixture(scope="module")
def scene():
    return projector.load("01-square-wall")


@pytest.fixture(scope="module")
def picture(scene):
    return projector.preview(scene, width=64, height=48, quality="quick")


@pytest.fixture(scope="module")
def light(scene):
    return projector.irradiance_map(scene, "wall", 48, "quick")


def test_a_picture_says_what_it_is_and_shows_itself(picture):
    assert repr(picture) == "<Picture: 01-square-wall, 64 × 48 pixels, quick>"
    assert np.array_equal(pixels_of(picture._repr_png_()), picture.pixels)


def test_the_figure_of_a_picture_has_its_pixels_and_no_others(picture):
    assert np.array_equal(pixels_of(picture.figure()._repr_png_()), picture.pixels)


def test_a_map_says_its_size_and_its_brightest_light_and_shows_its_figure(light):
    most = float(light.illuminance.max())
    assert repr(light).startswith("<IrradianceMap: wall, 3.000 × 2.600 m, 48 × ")
    assert f"{most:.4g} lx·s" in repr(light) and "at ISO" in repr(light) and repr(light).endswith(" stops>")
    assert pixels_of(light._repr_png_()).std() > 10.0


@pytest.mark.parametrize("which", ["picture", "light"])
def test_numpy_takes_pictures_and_maps_as_arrays(which, request):
    """The protocol of numpy 2: no copy unless one is needed, a copy where one is asked for, ValueError where one may
    not be made.
    """
    item = request.getfixturevalue(which)
    own = item.pixels if which == "picture" else item.illuminance
    assert np.asarray(item) is own
    assert np.array(item) is not own and np.array_equal(np.array(item), own)
    assert np.asarray(item, dtype=np.float64).dtype == np.float64
    assert np.asarray(item, copy=False) is own
    with pytest.raises(ValueError, match="copy"):
        np.asarray(item, dtype=np.float64, copy=False)


def test_a_map_without_a_reading_is_no_array_of_lux(studio):
    scene = studio.scene({"reading": None})
    found = projector.irradiance_map(scene, "wall", 24, "quick")
    assert "lx" not in repr(found) and "stops against" in repr(found)
    with pytest.raises(SceneError, match="reading"):
        np.asarray(found)


def test_a_map_in_the_dark_says_so(studio):
    aside = studio.scene({"aim": [0.0, 1.5, 4.0]})
    assert "no light of a projector" in repr(projector.irradiance_map(aside, "wall", 24, "quick"))


def test_a_study_says_itself_in_a_line_and_its_fields_with_units_in_a_table():
    found = studies.blur(focal_length_mm=85, f_number=1.8, throw_m=2, wall_m=2.06)
    assert repr(found) == "<Blur: 85 mm at f/1.8, on a wall at 2.06 m: disc 1.42 mm, edges 0.97 mm>"
    assert ">tube length</td>" in found._repr_html_() and ">88.77 mm</td>" in found._repr_html_()


def test_a_table_tells_text_as_it_is():
    @dataclass(frozen=True, repr=False)
    class Told(Shown):
        in_one_line = "{name}"
        name: str
        turn_deg: float | None

    table = Told("<b>&", None)._repr_html_()
    assert "&lt;b&gt;&amp;" in table and "<b>" not in table
    assert "none" in table and "none°" not in table


def test_every_result_of_a_study_is_told_in_one_short_line():
    """Results are classes of studies that a function there returns; what is handed in needs no line."""
    handed_in = {"Axis", "EdgePhotograph", "SetUp", "Wishes"}
    results = {name for name in studies.__all__ if isinstance(getattr(studies, name), type)} - handed_in
    for name in results:
        assert issubclass(getattr(studies, name), Shown), name
        assert getattr(studies, name).__repr__ is Shown.__repr__, f"{name}: repr=False is missing"


def test_places_for_a_light_say_the_best_and_show_the_room(scene):
    """With an answer and without one; the room's figure has two views and names what stands there."""
    wishes = studies.Wishes(width_m=0.8, edge_mm=5, f_number=4, iso=400, room_m=(5, 6, 2.7))
    found = studies.place(scene, "window", wishes, lenses=["own"], render=False)
    assert repr(found).startswith("<WhereToStand: 1 of 1 lenses will do; own at f/2.8, throw 1.994 m")
    answers, missed = found
    assert answers == found.answers and missed == found.relaxations == []
    above, side = found.figure().axes
    for axes in (above, side):
        assert {"1", "camera", "wall", "window, now"} <= {text.get_text() for text in axes.texts}
    assert pixels_of(found._repr_png_()).std() > 10.0
    none = studies.place(scene, "window", dataclasses.replace(wishes, f_number=64), lenses=["own"], render=False)
    assert repr(none).startswith("<WhereToStand: 0 of 1 lenses will do; ") and "(short of light)" in repr(none)
    assert none.figure().get_suptitle().endswith("nothing fits this room")


@pytest.mark.slow
def test_what_can_be_drawn_is_drawn_without_pyplot():
    script = (
        "import sys; from projector import studies; found = studies.throw(85, 36, 2.5);"
        "assert 'matplotlib' not in sys.modules; figure = found.figure(); print(type(figure).__mro__[1]);"
        "assert 'matplotlib.pyplot' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=120)
    assert "matplotlib.figure.Figure" in done.stdout, done.stderr
