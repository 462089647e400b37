"""Faults hold their parts as fields; what is said in many places is written in one."""

from __future__ import annotations

import ast
import math
import re
from functools import cache
from pathlib import Path

import pytest

from projector.faults import Fault, SceneError, check_above_zero, check_within
from projector.phrases import did_you_mean, either, listed, percent, within
from tests.sources import MODULES, module_id, nodes

# Phrases, and the library that finds what was meant: each in one module, whoever says them.
IN_ONE_PLACE = {
    "above zero": "phrases.py",
    "did you mean": "phrases.py",
    "one of these": "phrases.py",
    "first:last:count": "phrases.py",
    "get_close_matches": "phrases.py",
    "is not a key here": "scene/reading/field_faults.py",
}


@cache
def docstrings_of(path: Path) -> set[ast.AST]:
    """Nodes of a module's docstrings."""
    return {
        node.body[0].value
        for node in nodes(path)
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(node) is not None
    }


@cache
def spoken_texts(path: Path) -> str:
    """Every text of a module that could be said, and the names it calls; no docstrings, no comments."""
    docstrings = docstrings_of(path)
    texts = [
        node.value
        for node in nodes(path)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in docstrings
    ]
    return "\n".join([*texts, *(node.attr for node in nodes(path) if isinstance(node, ast.Attribute))])


@pytest.mark.parametrize(("phrase", "home"), IN_ONE_PLACE.items())
def test_what_many_say_is_written_once(phrase, home):
    assert [module_id(path) for path in MODULES if phrase in spoken_texts(path)] == [home]


def spoken_constants(path: Path):
    """Every text of a module that could be said, but docstrings and what a fault says in a command line's words."""
    typed = {
        part
        for node in nodes(path)
        if isinstance(node, ast.keyword) and node.arg == "typed"
        for part in ast.walk(node.value)
    }
    for node in nodes(path):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in typed | docstrings_of(path):
            yield node.value


def test_words_of_a_command_line_are_said_on_one_alone():
    """Whoever calls from Python or sees a page has no -o and no --columns to try."""
    option = re.compile(r"(?<![\w-])(?:--[a-z][a-z-]+|-o\b)")
    said = [
        f"{module_id(path)}: {text}"
        for path in MODULES
        if not module_id(path).startswith(("cli/", "answers/"))
        for text in spoken_constants(path)
        if option.search(text)
    ]
    assert said == []


def test_a_fault_speaks_to_whoever_asked(tmp_path, capsys, monkeypatch):
    """The same folder in the way of a picture: in Python another name is asked for, on a command line one with -o."""
    import projector
    from projector.cli import app
    from projector.cli.running import run_command_line

    monkeypatch.chdir(tmp_path)
    (tmp_path / "wall.png").mkdir()
    picture = projector.preview("01-square-wall", width=32, height=24, quality="quick")
    with pytest.raises(SceneError) as caught:
        picture.save("wall")
    assert str(caught.value).endswith("try: another name")
    assert run_command_line(app, ["preview", "01-square-wall", "--size", "32x24", "-o", "wall", "--json"]) == 1
    said = capsys.readouterr()
    assert "try: another name with -o" in said.err and '"try": "another name with -o"' in said.out


def test_no_message_is_taken_apart_again():
    """A field of a fault may be shown, joined or compared with nothing; not cut, replaced or searched."""
    takes_apart = {"replace", "removeprefix", "removesuffix", "split", "partition", "startswith", "endswith", "find"}
    for path in MODULES:
        for node in nodes(path):
            owner = node.func.value if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) else None
            said = isinstance(owner, ast.Attribute) and owner.attr in {"found", "allowed", "try_"}
            assert not (said and node.func.attr in takes_apart), f"{path}:{node.lineno}"


def test_names_are_listed_in_one_place():
    """With "and" or "or" before the last: no module joins names by such a word itself."""
    joined = [
        module_id(path)
        for path in MODULES
        for node in nodes(path)
        if isinstance(node, ast.Attribute)
        and node.attr == "join"
        and isinstance(node.value, ast.Constant)
        and node.value.value in (" and ", " or ")
    ]
    assert joined == []


def test_a_fault_is_said_by_its_parts():
    fault = Fault(allowed="a number above zero", key="throw_m", value=-2.0, example="2.5")
    assert str(fault) == "throw_m: -2\n    allowed: a number above zero\n    try: 2.5"
    assert fault.as_dict() == {
        "file": None, "line": None, "key": "throw_m", "found": "-2", "allowed": "a number above zero", "try": "2.5",
    }  # fmt: skip


@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf, 1e-12, 1e12])
def test_a_number_that_means_nothing_is_refused_with_its_name_value_and_unit(value):
    with pytest.raises(SceneError) as caught:
        check_above_zero(throw_m=value, width_m=2.0, height_m=None)
    (fault,) = caught.value.faults
    assert fault.key == "throw_m" and fault.allowed.startswith("a number above zero, in metres")
    assert fault.value == value or math.isnan(value)


def test_a_range_is_said_one_way():
    assert (
        within(0.5, 256.0) == "from 0.5 to 256" and within(1, None) == "at least 1" and within(None, 4) == "at most 4"
    )
    with pytest.raises(SceneError) as caught:
        check_within(0.0, 1.0, modulation=3.0, open_share=0.5)
    assert [str(fault) for fault in caught.value.faults] == ["modulation: 3\n    allowed: from 0 to 1"]


def test_lists_and_shares_are_said_one_way():
    assert either(["quick", "fine"]) == '"quick" or "fine"'
    assert listed(["a"]) == "a" and listed(["a", "b"]) == "a and b" and listed(["a", "b", "c"], "or") == "a, b or c"
    assert did_you_mean("", otherwise="look again") == "look again" and did_you_mean("a", "b") == "did you mean a or b?"
    shares = [1.0, 0.1, 0.096, 0.0123, 4e-4, 1e-9, 0.0]
    assert [percent(share) for share in shares] == ["100 %", "10 %", "9.6 %", "1.2 %", "0.04 %", "0 %", "0 %"]
