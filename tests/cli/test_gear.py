"""`projector gear`: a table of one's own gear said back, its settings, and everything that is wrong with it."""

from __future__ import annotations

WRONG = """[[unit]]
name = "one"
reading = { f_number = 0, distance_m = 2 }
[[unit]]
nam = "two"
reading = { f_number = 8, distance_m = 2 }
steps = "third"
"""


def test_a_shipped_table_says_what_each_unit_gives(ask):
    said = ask("gear", "studio-shelf")
    assert "big flash with lens: f/11.2 at ISO 100, 2 m away, a flash, through 85 mm at f/2.8; full to 1/256" in said
    assert "LED 60 with lens: f/4 at ISO 400, 1 m away, steady, at 1/200 s; full to 1 % in whole per cent" in said


def test_settings_are_answered_for_every_unit_that_has_them(ask):
    units = ask("gear", "studio-shelf", "--setting", "1/4", "--setting", "30 %", "--json")["result"]["units"]
    by_name = {unit["unit"]: unit["settings"] for unit in units}
    # N² goes with the light (ISO 2720): two stops down is half of the f-number.
    assert [by_name[name][0]["reading"]["f_number"] for name in by_name] == [5.6, 2.8, 2.0, 8.0]
    assert by_name["LED 60 with lens"][1]["why"] is None
    assert "between two steps" in by_name["small flash bare"][1]["why"]


def test_one_unit_is_refused_what_its_dial_does_not_have(ask):
    said = ask("gear", "studio-shelf", "--unit", "small flash bare", "--setting", "1/3", code=1)
    assert "--setting" in said and '"1/2 −0.7" or "1/2 −0.3"' in said
    assert "did you mean small flash bare?" in ask("gear", "studio-shelf", "--unit", "small flash bear", code=1)


def test_all_that_is_wrong_with_a_table_is_said_at_once(ask, tmp_path):
    (tmp_path / "mine.toml").write_text(WRONG)
    errors = ask("gear", "mine.toml", "--json", code=1)["errors"]
    assert {(error["file"], error["line"]) for error in errors} == {("mine.toml", line) for line in (3, 4, 5, 7)}
    assert 'no gear file "nowhere"' in ask("gear", "nowhere", code=1)
