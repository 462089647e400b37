"""The pages of Python calls, in help(projector) and in README, hold as they are printed; help speaks of the product."""

from __future__ import annotations

import doctest
import pydoc
from pathlib import Path

import projector

README = Path(__file__).resolve().parents[1] / "README.md"


def failed_examples(text: str, name: str) -> int:
    """How many examples of a page do not print what it says."""
    test = doctest.DocTestParser().get_doctest(text, {}, name, name, 0)
    assert len(test.examples) > 5
    return doctest.DocTestRunner().run(test).failed


def test_the_page_of_calls_holds(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert failed_examples(projector.__doc__, "help(projector)") == 0


def test_the_calls_in_readme_hold(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (calls,) = [block.partition("```")[0] for block in README.read_text(encoding="utf-8").split("```python\n")[1:]]
    assert failed_examples(calls, "README.md") == 0


def test_help_begins_with_what_the_product_is_for_and_hides_what_checks_values():
    text = pydoc.render_doc(projector, renderer=pydoc.plaintext)
    assert text.index("how a pattern lands") < text.index("projector.preview(") < text.index("PACKAGE CONTENTS")
    assert not [word for word in ("model_dump", "model_config", "__pydantic", "FieldInfo") if word in text]
