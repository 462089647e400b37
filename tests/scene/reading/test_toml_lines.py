"""Line numbers of a TOML file: every value that tomllib reads is found, on the line where it stands."""

from __future__ import annotations

import tomllib

import pytest

from projector.files.finding import list_scenes
from projector.scene.reading.toml_lines import TomlLines

HARD = '''# a comment with [brackets] and key = value
title = "a = b # no comment ] }"   # [not.a.table]
"quoted.key" = 1
'literal' = 2
a.b . c = 3
long = """
[not_a_table]
key = "no key"
ends with quotes"""""
raw = \'\'\'
[[nothing]]
\'\'\'
points = [
  [0.0, 1.5],   # first
  [
    2.0,
    3.0
  ],
]
inline = { one = 1, deep = { two = [ 2, { three = 3 } ] }, "odd key" = "}" }
date = 1979-05-27 07:32:00

[ table . "sub table" ]
x = [ ]
y = {}
[[list]]
name = "first"
[[list.inner]]
n = 1
[[list.inner]]
n = 2
[list.settings]
on = true
[[list]]
name = "second"
[[list.inner]]
n = 3
'''


def leaves(value, path=()):
    """Paths of everything that tomllib read."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from leaves(inner, (*path, key))


@pytest.mark.parametrize("text", [HARD, HARD.replace("\n", "\r\n"), *(path.read_text() for path, _ in list_scenes())])
def test_every_value_that_tomllib_reads_has_a_line(text):
    lines = TomlLines(text)
    for path in leaves(tomllib.loads(text)):
        assert lines.exact_line_of(path) is not None, path


def test_nothing_is_found_that_tomllib_does_not_read():
    read = set(leaves(tomllib.loads(HARD)))
    assert set(TomlLines(HARD)._lines) <= read


@pytest.mark.parametrize(
    ("path", "text"),
    [
        (("title",), "title ="),
        (("quoted.key",), '"quoted.key"'),
        (("a", "b", "c"), "a.b . c"),
        (("points", 0, 1), "[0.0, 1.5]"),
        (("points", 1, 1), "    3.0"),
        (("inline", "deep", "two", 1, "three"), "inline ="),
        (("table", "sub table"), "[ table"),
        (("list", 0, "inner", 1, "n"), "n = 2"),
        (("list", 0, "settings", "on"), "on = true"),
        (("list", 1, "name"), 'name = "second"'),
        (("list", 1, "inner", 0, "n"), "n = 3"),
    ],
)
def test_a_value_is_found_on_the_line_where_it_stands(path, text):
    assert text in HARD.split("\n")[TomlLines(HARD).exact_line_of(path) - 1]


def test_what_is_missing_is_looked_for_where_it_would_stand():
    lines = TomlLines(HARD)
    assert lines.line_of(("list", 1, "inner", 0, "absent")) == lines.exact_line_of(("list", 1, "inner", 0))
    assert lines.line_of(("absent",)) is None


def test_deep_nesting_loses_lines_but_raises_nothing():
    assert TomlLines("x = " + "[" * 5000 + "]" * 5000).exact_line_of(("x",)) == 1
