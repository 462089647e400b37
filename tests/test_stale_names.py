"""Papers, docstrings and comments name no module, file or folder that is gone."""

from __future__ import annotations

import ast
import functools
import io
import re
import tokenize
from pathlib import Path

from projector.scene.model import Projector
from tests.sources import of_every

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "projector"
FOLDERS = ("projector", "tests", "benchmarks", "scenes", "stencils", ".ci")
SOURCES = sorted(path for folder in ("projector", "tests", "benchmarks") for path in (ROOT / folder).rglob("*.py"))
PAPERS = sorted(ROOT.glob("*.md"))
FILES = {path for folder in FOLDERS for path in (ROOT / folder).rglob("*") if "__pycache__" not in path.parts}
NAMES = {*FOLDERS, *(path.name for path in FILES)}
ROOMS = {path.name.removesuffix(".py") for path in PACKAGE.iterdir() if not path.name.startswith(("_", "."))}

PATH = re.compile(rf"(?<![\w./-])(?:{'|'.join(map(re.escape, (*FOLDERS, *sorted(ROOMS))))})/[\w./-]*[\w/]")
SOURCE_FILE = re.compile(r"(?<![\w./-])\w+\.py(?:i|\b)")
FOLDER = re.compile(r"`(\w+)/`")
DOTTED = re.compile(r"(?<![\w./-])projector(?:\.\w+)+")
# Also those inside functions, and in programs that are kept as text to be run by another process.
IMPORT = re.compile(r"\bfrom (projector[\w.]*) import (\([^)]*\)|[\w, ]+)")


def what_is_said(path: Path) -> str:
    """All of a paper; of a source its docstrings and comments."""
    text = path.read_text()
    if path.suffix != ".py":
        return text
    said = [
        item.string for item in tokenize.generate_tokens(io.StringIO(text).readline) if item.type == tokenize.COMMENT
    ]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            said.append(ast.get_docstring(node) or "")
    return "\n".join(said)


def is_there(path: str) -> bool:
    """Whether a path is one of the checkout or of the package, a pattern of several or a module without its ending."""
    return any((base / path).exists() or (base / f"{path}.py").exists() for base in (ROOT, PACKAGE))


@functools.cache
def names_in(module: Path) -> set[str]:
    """What a module, or a package by its stub, defines, imports and assigns at its top."""
    found = set()
    for file in (module.with_suffix(".py"), module / "__init__.py", module / "__init__.pyi"):
        for node in ast.parse(file.read_text()).body if file.exists() else ():
            if isinstance(node, (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
                found.add(node.name)
            elif isinstance(node, (ast.Import, ast.ImportFrom)):
                found |= {alias.asname or alias.name for alias in node.names}
            else:
                found |= {item.id for item in ast.walk(node) if isinstance(item, ast.Name)}
    return found


def is_known(dotted: str) -> bool:
    """Whether a dotted name is a module, something in one, or a value of one of a scene's projectors."""
    here, parts = PACKAGE, dotted.split(".")[1:]
    if parts[0] not in ROOMS and parts[0] not in names_in(PACKAGE):
        return len(parts) == 1 or parts[1] in Projector.model_fields
    for part in parts:
        if not ((here / part).is_dir() or (here / f"{part}.py").exists()):
            return part in names_in(here)
        here = here / part
    return True


@of_every([*PAPERS, *SOURCES])
def test_every_module_file_and_folder_that_is_named_is_there(path):
    said = what_is_said(path)
    gone = [found for found in PATH.findall(said) if not is_there(found.rstrip("/"))]
    gone += [found for found in SOURCE_FILE.findall(said) if found not in NAMES]
    gone += [found for found in FOLDER.findall(said) if found not in NAMES]
    gone += [found for found in DOTTED.findall(said) if not is_known(found)]
    assert gone == []


@of_every(SOURCES)
def test_every_name_that_is_imported_is_there(path):
    gone = []
    for module, names in IMPORT.findall(path.read_text()):
        for name in re.findall(r"\w+(?: as \w+)?", names.strip("()")):
            dotted = f"{module}.{name.split()[0]}"
            is_of_the_package = dotted.split(".")[1] in ROOMS | names_in(PACKAGE)
            if not (is_of_the_package and is_known(dotted)):
                gone.append(dotted)
    assert gone == []


def test_what_is_gone_is_noticed():
    assert not is_there("projector/tracing/nowhere.py") and not is_there("tracing/nowhere")
    assert is_there("tracing/gate/lens_law.py") and is_there("scenes/pictures")
    assert not is_known("projector.tracing.gate.lens_law.nothing") and not is_known("projector.nowhere.thing")
    assert is_known("projector.tracing.gate.lens_law.Projection") and is_known("projector.window.lens.f_number")
