"""A share of the cases of benchmarks/mutated_scenes.py: scenes, files, changes and numbers that nobody thought of.

Each case depends on its seed and number alone, so that a failure is found again by `--only`.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from tests.conftest import mostly_slow

SEED = 7


@pytest.fixture(scope="module")
def mutated():
    """The module that makes and judges the cases."""
    path = Path(__file__).resolve().parents[1] / "benchmarks" / "mutated_scenes.py"
    spec = importlib.util.spec_from_file_location("mutated_scenes", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def troubles(judge, numbers, **options) -> list[str]:
    return [f"{number}: {item}" for number in numbers for item in judge(SEED, number, **options) if item != "rendered"]


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("part", mostly_slow(range(8)))
def test_no_legal_scene_renders_light_that_is_negative_or_no_number(mutated, part):
    assert troubles(mutated.troubles_of_scene, range(5 * part, 5 * part + 5), answers=False) == []


@pytest.mark.slow
@pytest.mark.filterwarnings("error::RuntimeWarning")
def test_no_legal_scene_prints_a_number_that_is_none(mutated):
    assert troubles(mutated.troubles_of_scene, range(100, 112)) == []


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("numbers", mostly_slow([range(20), range(20, 120)]), ids=str)
def test_damaged_files_are_read_or_told_in_words(mutated, numbers):
    assert troubles(mutated.troubles_of_text, numbers) == []


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("numbers", mostly_slow([range(10), range(10, 80)]), ids=str)
def test_odd_changes_are_made_or_told_in_words(mutated, numbers):
    assert troubles(mutated.troubles_of_changes, numbers) == []


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("numbers", mostly_slow([range(10), range(10, 60)]), ids=str)
def test_odd_numbers_are_answered_or_told_in_words(mutated, numbers):
    assert troubles(mutated.troubles_of_numbers, numbers) == []


def test_the_cases_are_what_they_say(mutated):
    """The same number gives the same case; of legal ones a good part passes the checks,
    so that light is judged at all.
    """
    for make in (mutated.legal_data, mutated.damaged_text, mutated.odd_changes):
        assert make(SEED, 3) == make(SEED, 3) != make(SEED, 4)
    passed = [mutated.checked(*mutated.legal_data(SEED, number)) is not None for number in range(30)]
    assert 8 <= sum(passed) <= 27


def test_light_that_is_none_is_noticed(mutated, monkeypatch):
    """The judge itself: a renderer whose light goes wrong in one pixel is caught."""
    from projector.rendering.session import RenderSession

    scene, whole = mutated.load("01-square-wall"), RenderSession.exposed
    for wrong in (-1e-3, float("nan"), float("inf")):

        def spoilt(self, progress=None, wrong=wrong):
            light, matrix = whole(self, progress)
            light = light.copy()
            light[3, 5] = wrong
            return light, matrix

        monkeypatch.setattr(RenderSession, "exposed", spoilt)
        assert mutated.troubles_of_light(scene)
