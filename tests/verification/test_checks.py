"""Every published value, computed again: the same checks that `projector verify` runs on a user's machine."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from projector.verification.checks import COMPUTE, VALUES, CheckResult


@pytest.mark.parametrize("value", VALUES, ids=lambda value: value.key)
def test_a_published_value_comes_out_again(value):
    result = CheckResult(value, float(COMPUTE[value.key]()))
    assert result.passed, f"{value.what}: expected {value.expected} {value.unit}, got {result.got} ({value.source})"


def test_there_are_at_least_sixty_checks_each_with_a_source_and_a_reason():
    assert len(VALUES) >= 60
    assert {value.key for value in VALUES} == set(COMPUTE)
    assert all(value.source and value.why and value.tolerance > 0.0 for value in VALUES)


def test_the_readme_says_how_many_there_are():
    """Never more than there are, and not far fewer."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (said,) = re.findall(r"computes over (\d+) published numbers", readme)
    assert int(said) < len(VALUES) <= int(said) + 20


def test_a_wrong_value_does_not_pass():
    value = VALUES[0]
    assert not CheckResult(value, value.expected + 1.01 * value.tolerance).passed
