"""Lamps set to a colour and filters by name or file: what a scene may say of them, and what is said where it errs."""

from __future__ import annotations

import numpy as np
import pytest

from projector.faults import SceneError
from projector.photometry import filters
from projector.photometry.colour import xy_from_xyz, xyz_from_spectrum
from projector.photometry.colour_led import xy_of_hue
from projector.photometry.named_filters import named_filter
from projector.photometry.spectra import white_xy
from projector.scene.reading.reader import load_text, with_overrides
from projector.scene.reading.saving import save_scene
from projector.stage.colours import spectrum_of
from projector.stage.stage import Stage

SCENE = """format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "key"
position_m = [0.0, 1.5, 2.0]
aim = "wall.centre"
gate = { shape = "round", diameter_mm = 40 }
lens = { focal_length_mm = 85, f_number = 2.8 }
reading = { f_number = 8, distance_m = 2.0 }
COLOUR
[[surface]]
name = "wall"
position_m = [0.0, 1.5, 0.0]
"""
ROWS = [(nm, 0.2 + 0.002 * (nm - 400)) for nm in range(400, 701, 10)]
TABLE = "wavelength_nm,transmittance\n" + "".join(f"{nm},{share:.3f}\n" for nm, share in ROWS)


def scene_with(colour, folder="."):
    return load_text(SCENE.replace("COLOUR", colour), "scene.toml", folder)


def fault_of(colour, folder="."):
    with pytest.raises(SceneError) as caught:
        scene_with(colour, folder)
    (fault,) = caught.value.faults
    return fault


def passed(scene):
    return Stage(scene).projector("key").passed


def test_a_filter_by_name_by_file_and_by_kind_stand_in_one_stack(tmp_path):
    (tmp_path / "sheet.csv").write_text(TABLE)
    scene = scene_with('filter = [{ name = "1/2 CTO" }, { file = "sheet" }, { kind = "neutral", stops = 1 }]', tmp_path)
    # Transmittances multiply: definition of a stack without reflections.
    measured = filters.table(*zip(*ROWS, strict=True))
    np.testing.assert_allclose(passed(scene), named_filter("half-warm").spectrum * measured * 0.5, rtol=1e-12)


def test_filters_dim_the_picture_by_what_they_cost_the_lamp():
    lamp = 'source = { kind = "tungsten" }\n'
    open_, filtered = (Stage(scene_with(lamp + more)).projector("key").power for more in ("", 'filter=[{name="blue"}]'))
    stops = filters.stops_lost(spectrum_of(scene_with(lamp).projector[0].source), named_filter("blue").spectrum)
    assert np.log2(open_.luminance / filtered.luminance) == pytest.approx(stops, abs=1e-9)


def test_an_edited_table_is_read_again(tmp_path):
    (tmp_path / "sheet.csv").write_text(TABLE)
    scene = scene_with('filter = [{ file = "sheet.csv" }]', tmp_path)
    before = passed(scene)
    (tmp_path / "sheet.csv").write_text(TABLE.replace("0.2", "0.25").replace("0.20", "0.25"))
    assert not np.array_equal(passed(scene), before)


def test_a_named_filter_is_changed_by_its_name_and_saved_with_its_file(tmp_path):
    (tmp_path / "sheet.csv").write_text(TABLE)
    scene = scene_with('filter = [{ name = "half-warm" }, { file = "sheet.csv" }]', tmp_path)
    changed = with_overrides(scene, "projector.key.filter.half-warm.name=full-cool")
    assert [item.name for item in changed.projector[0].filter] == ["full-cool", None]
    (tmp_path / "there").mkdir()
    saved = save_scene(changed, tmp_path / "there" / "copy.toml")
    assert "../sheet.csv" in saved.read_text()


def test_the_same_level_is_metered_whatever_an_led_is_set_to():
    """A reading is of the lamp as it is set."""
    levels = [
        Stage(scene_with(f'source = {{ kind = "led", {setting} }}')).projector("key").power.luminance
        for setting in ("temperature_k = 3200", "xy = [0.25, 0.2]", "hue_deg = 100", "hue_deg = 20, saturation = 0.3")
    ]
    assert levels == pytest.approx(levels[:1] * 4, rel=1e-12)


@pytest.mark.parametrize(
    "setting, xy",
    [
        ("xy = [0.25, 0.2]", (0.25, 0.2)),
        ('xy = [0.25, 0.2], emitters = "rgb"', (0.25, 0.2)),
        ("hue_deg = 40, saturation = 0.5, temperature_k = 3200", xy_of_hue(40.0, 0.5, 3200.0)),
        ("hue_deg = 40, saturation = 0, temperature_k = 3200", white_xy(3200.0)),
        ('hue_deg = 200, emitters = "rgbaw"', xy_of_hue(200.0, 1.0)),
    ],
)
def test_an_led_has_the_colour_it_is_set_to(setting, xy):
    spectrum = spectrum_of(scene_with(f'source = {{ kind = "led", {setting} }}').projector[0].source)
    np.testing.assert_allclose(xy_from_xyz(xyz_from_spectrum(spectrum)), xy, atol=1e-9)


@pytest.mark.parametrize(
    "colour, key, found, advice",
    [
        ('filter = [{ name = "half-worm" }]', "filter.name", 'no filter is called "half-worm"', "half-warm"),
        ('filter = [{ name = "mine.csv" }]', "filter.name", 'called "mine.csv"', 'file = "mine.csv"'),
        ("filter = [{ stops = 1 }]", "filter", "neither a name, a file nor a kind", 'name = "half-warm"'),
        ('filter = [{ name = "red", kind = "neutral", stops = 1 }]', "filter", "name and kind", "keep one"),
        ('filter = [{ name = "red", stops = 1 }]', "filter", "stops beside a name", "take out"),
        ('filter = [{ file = "nowhere" }]', "filter.file", 'no filter file "nowhere"', ""),
        ("source = { xy = [0.3, 0.3] }", "source.xy", "xy of a daylight lamp", 'kind = "led"'),
        ('source = { kind = "led", saturation = 0.5 }', "source.saturation", "without a colour", "hue_deg"),
        ('source = { kind = "led", emitters = "rgb" }', "source.emitters", "without a colour", "hue_deg"),
        ('source = { kind = "led", xy = [0.3, 0.3], hue_deg = 3 }', "source.xy", "by xy, and by hue", ""),
        ('source = { kind = "led", xy = [0.1, 0.8] }', "source.xy", "outside of what this lamp mixes", "xy = [0.167"),
        ('source = { kind = "led", xy = [0.3, 0.0] }', "source.xy", "outside of what this lamp mixes", "nearest"),
        (
            'source = { kind = "led", xy = [0.3, 0.3], emitters = "rgb", temperature_k = 3200 }',
            "source.temperature_k",
            "without white emitters",
            "take it out",
        ),
        ('source = { kind = "led", hue_deg = 3, temperature_k = 1500 }', "source.temperature_k", "outside 2000", ""),
    ],
)
def test_what_cannot_be_is_refused_in_words(colour, key, found, advice):
    fault = fault_of(colour)
    assert fault.key == f"projector.key.{key}" and fault.line == 12
    assert found in fault.found and advice in fault.try_, fault


def test_what_is_wrong_inside_a_table_is_said_with_its_own_line(tmp_path):
    (tmp_path / "sheet.csv").write_text(TABLE.replace("500,0.400\n510,0.420\n520,0.440\n", ""))
    fault = fault_of('filter = [{ file = "sheet.csv" }]', tmp_path)
    assert fault.file.endswith("sheet.csv") and fault.line == 12 and "a gap from 490 to 530 nm" in fault.found
    assert fault.key == "projector.key.filter.file"
