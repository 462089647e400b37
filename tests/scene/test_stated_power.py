"""A reading or an output stays with the lens and stop that it was made with, whichever way another one is asked for."""

from __future__ import annotations

import pytest

from projector.scene.reading.reader import check, load, load_text, with_overrides
from projector.scene.reading.saving import save_scene
from projector.scene.stated_power import stated_lens, with_lens

READING, OUTPUT = "reading = { f_number = 8, distance_m = 2.0 }", "output = { lumens = 400 }"


def scene_text(lens='file = "achromat", f_number = 4', power=READING):
    return f"""format = 1
[camera]
position_m = [0.0, 1.5, 4.0]
aim = "wall.centre"
[[projector]]
name = "key"
position_m = [0.5, 1.0, 1.2]
aim = "wall.centre"
gate = {{ shape = "round", diameter_mm = 40 }}
lens = {{ {lens} }}
{power}
[[surface]]
name = "wall"
"""


@pytest.mark.parametrize(("power", "kind"), [(READING, "reading"), (OUTPUT, "output")])
@pytest.mark.parametrize(
    "change",
    [
        "lens.f_number=5.6",
        "lens.focal_length_mm=100",
        "lens.file=filled-short",
        "lens.transmittance=0.7",
        "lens.filled_pupil_mm=18",
        "lens.pupil.shape=ring",
    ],
)
def test_a_change_of_the_lens_leaves_the_statement_with_the_lens_before(power, kind, change):
    """As typed, in two steps, and for a candidate lens from Python: one rule."""
    plain = load_text(scene_text(power=power))
    before = plain.projector[0].lens
    more = ["projector.key.lens.pupil.inner_fraction=0.5"] if "ring" in change else []
    typed = load_text(scene_text(power=power), overrides=[f"projector.key.{change}", *more])
    stepped = with_overrides(
        with_overrides(plain, ["projector.key.lens.f_number=8"]), [f"projector.key.{change}", *more]
    )
    candidate = with_lens(plain.projector[0], typed.projector[0].lens)
    for spec in (typed.projector[0], stepped.projector[0], candidate):
        then = stated_lens(spec)
        assert spec.lens != before
        assert (then.focal_length_mm, then.f_number, then.transmittance, then.filled_pupil_mm, then.pupil) == (
            85.0,
            4.0,
            0.9,
            None,
            None,
        )
        assert getattr(spec, kind).f_number == 8.0 if kind == "reading" else spec.output.lumens == 400.0


@pytest.mark.parametrize(
    "change", ["roll_deg=5", "gate.diameter_mm=30", "lens.corner_softness_mm=0.4", "lens.f_number=4"]
)
def test_what_bears_on_no_light_notes_nothing(change):
    reading = load_text(scene_text(), overrides=[f"projector.key.{change}"]).projector[0].reading
    assert reading.lens is None and reading.lens_f_number is None


def test_a_lens_of_the_reading_comes_from_a_file_too():
    text = scene_text(
        power='reading = { f_number = 8, distance_m = 2.0, lens = { file = "filled-short", f_number = 2 } }'
    )
    then = stated_lens(load_text(text).projector[0])
    assert (then.focal_length_mm, then.f_number, then.filled_pupil_mm) == (50.0, 2.0, 24.0)
    # What is said of it is not changed by another lens that comes into the light.
    assert stated_lens(load_text(text, overrides=["projector.key.lens.file=single-crown"]).projector[0]) == then


def test_a_saved_scene_notes_the_lens_of_its_reading(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(scene_text())
    stopped = load(save_scene(path, tmp_path / "stopped.toml", {"projector.key.lens.f_number": 5.6})).projector[0]
    assert (stopped.reading.lens_f_number, stopped.reading.lens) == (4.0, None)
    changed = load(save_scene(path, tmp_path / "changed.toml", {"projector.key.lens.file": "filled-short"})).projector[
        0
    ]
    assert (changed.lens.focal_length_mm, stated_lens(changed).focal_length_mm, stated_lens(changed).f_number) == (
        50.0,
        85.0,
        4.0,
    )
    again = load(
        save_scene(tmp_path / "stopped.toml", tmp_path / "again.toml", {"projector.key.lens.file": "filled-short"})
    ).projector[0]
    assert (stated_lens(again).focal_length_mm, stated_lens(again).f_number, again.reading.lens_f_number) == (
        85.0,
        4.0,
        None,
    )


@pytest.mark.parametrize(
    ("lens", "power", "key", "words"),
    [
        (
            'file = "achromat"',
            "reading = { f_number = 8, distance_m = 2.0, lens_f_number = 1.4 }",
            "projector.key.reading.lens_f_number",
            "whose widest is f/1.8",
        ),
        (
            'file = "achromat"',
            (
                "reading = { f_number = 8, distance_m = 2.0, lens_f_number = 4, lens = { focal_length_mm = 50, f_number"
                " = 2 } }"
            ),
            "projector.key.reading.lens_f_number",
            "beside the lens itself",
        ),
        (
            'file = "achromat"',
            (
                'output = { lumens = 300, lens = { focal_length_mm = 50, f_number = 2, dispersion = { glass = "N-BK8"'
                " } } }"
            ),
            "projector.key.output.lens.dispersion",
            "N-BK8",
        ),
        (
            'file = "achromat"',
            "output = { lumens = 300, lens = { focal_length_mm = 1990, f_number = 2 } }",
            "projector.key.output.lens",
            "cannot be focused at",
        ),
        (
            'file = "achromat"',
            'reading = { f_number = 8, distance_m = 2.0, lens = { file = "no-such" } }',
            "projector.key.reading.lens.file",
            "no-such",
        ),
        (
            "focal_length_mm = 85, f_number = 4, pupil_offset_mm = 60",
            "reading = { f_number = 8, distance_m = 0.05 }",
            "projector.key.reading.distance_m",
            "60 mm in front of it",
        ),
    ],
)
def test_what_a_statement_cannot_say_of_its_lens_is_a_fault(tmp_path, lens, power, key, words):
    path = tmp_path / "scene.toml"
    path.write_text(scene_text(lens, power))
    _, faults, _ = check(path)
    assert [fault.key for fault in faults] == [key] and words in str(faults[0])
    assert faults[0].line == 11


def test_a_transmittance_that_the_reading_already_contains_is_said(tmp_path):
    path = tmp_path / "scene.toml"
    lens = "focal_length_mm = 85, f_number = 4, transmittance = 0.5"
    for power, is_warned in (
        (READING, True),
        (OUTPUT, True),
        ("output = { lumens = 400, before_lens = true }", False),
        ("", False),
    ):
        path.write_text(scene_text(lens, power))
        warnings = check(path)[2]
        assert any("transmittance of 0.5 is already in its" in warning for warning in warnings) == is_warned
