"""What `projector` and `projector.studies` export is there, is documented, and costs nothing before its use."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import subprocess
import sys

import pytest

import projector
from projector import studies

HEAVY = ("numpy", "numba", "scipy", "matplotlib", "pydantic", "trimesh", "PIL", "skimage", "tomlkit")
PACKAGES = (projector, studies)
FUNCTIONS = sorted(name for name in studies.__all__ if inspect.isfunction(getattr(studies, name)))
MODULES = sorted(item.name for item in pkgutil.walk_packages(studies.__path__, "projector.studies.") if not item.ispkg)


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package.__name__)
def test_what_is_listed_is_there_and_what_is_there_is_listed(package):
    assert sorted(dir(package)) == sorted(package.__all__)
    for name in package.__all__:
        assert getattr(package, name) is not None
    with pytest.raises(AttributeError, match="blurr"):
        _ = package.blurr


def test_nothing_heavy_is_imported_before_it_is_used():
    script = (
        "import sys, projector, projector.studies as studies; dir(projector), dir(studies), projector.studies;"
        f"print([name for name in {HEAVY!r} if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_study_says_in_one_line_what_it_answers(name):
    """help() and editors show the first line alone: it is a sentence of its own."""
    first, _, rest = inspect.getdoc(getattr(studies, name)).partition("\n")
    assert first.endswith((".", "?", ")")) and len(first) <= 120
    assert not rest.partition("\n")[0].strip(), f"the line under the first of {name} is empty"


# Examples that trace light for seconds.
TRACE = {"projector.studies.light.contrast", "projector.studies.size.straightened"}


@pytest.mark.parametrize(
    "name", [pytest.param(name, marks=[pytest.mark.slow] if name in TRACE else []) for name in MODULES]
)
def test_the_examples_of_studies_hold(name):
    assert doctest.testmod(importlib.import_module(name)).failed == 0


def test_the_example_of_all_studies_holds():
    assert doctest.testmod(studies).failed == 0
