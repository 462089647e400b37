"""The rules of the house, held by reading the sources: imports go down only, and each heavy library has one home."""

from __future__ import annotations

import ast
from pathlib import Path

from tests.sources import MODULES, PACKAGE, module_id, nodes, of_every, parsed

# From the bottom up; rooms of one line do not see each other.
LAYERS = [
    {"phrases"},
    {"jit", "faults", "shown"},
    {"geometry"},
    {"optics", "photometry", "files"},
    {"stencils", "meshes", "tracing"},
    {"figures"},
    {"scene"},
    {"stage"},
    {"rendering"},
    {"studies"},
    {"answers", "verification"},
    {"reports"},
    {"live"},
    {"cli"},
]
LEVEL_OF = {room: level for level, rooms in enumerate(LAYERS) for room in rooms}
HOMES_OF_LIBRARY = {
    "numba": ("jit.py", "tracing/rays/vectors.py", "tracing/gate/patch_lanes.py"),
    "llvmlite": ("tracing/rays/vectors.py", "tracing/gate/patch_lanes.py"),
    "trimesh": ("meshes/", "files/"),
    "matplotlib": ("reports/",),
    "starlette": ("live/",),
    "uvicorn": ("live/",),
    "websockets": ("live/",),
}


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_modules(path: Path):
    for node in nodes(path):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            if node.module == "projector":
                yield from (f"projector.{alias.name}" for alias in node.names)


@of_every(MODULES)
def test_imports_only_go_down(path):
    room = room_of(path)
    if room == "__init__":
        return
    for name in imported_modules(path):
        parts = name.split(".")
        if parts[0] != "projector" or len(parts) < 2 or parts[1] not in LEVEL_OF:
            continue
        assert parts[1] == room or LEVEL_OF[parts[1]] < LEVEL_OF[room], f"{module_id(path)} imports {name}"


def name_of(path: Path) -> str:
    """Dotted name of a module of the package."""
    return ".".join(("projector", *path.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__")


def files_imported_by(path: Path, known: set[str]) -> set[str]:
    """Modules of the package that a file imports anywhere in it, inside functions too."""
    found = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            submodules = {f"{node.module}.{alias.name}" for alias in node.names} & known
            found |= submodules or {node.module}
    return (found & known) - {name_of(path)}


def test_no_files_import_each_other_in_a_circle():
    """Imports inside functions count: a circle hidden there is a circle all the same."""
    known = {name_of(path) for path in MODULES}
    waiting = {name_of(path): files_imported_by(path, known) for path in MODULES if path.name != "__init__.py"}
    while waiting:
        free = [name for name, needs in waiting.items() if not needs & waiting.keys()]
        assert free, "these import each other: " + ", ".join(sorted(waiting))
        for name in free:
            del waiting[name]


@of_every(MODULES)
def test_heavy_libraries_stay_in_their_rooms(path):
    for name in imported_modules(path):
        homes = HOMES_OF_LIBRARY.get(name.split(".")[0])
        if homes is not None:
            assert module_id(path).startswith(homes), f"{module_id(path)} imports {name}"
        assert not name.startswith("matplotlib.pyplot"), "pyplot needs a display; build figures from matplotlib.figure"


# Longer than we like since lines are no longer than 120 columns; each is to be cut where its subject divides.
STILL_LONG: set[str] = set()
STILL_LONG_FUNCTIONS: set[str] = set()


@of_every(MODULES)
def test_modules_and_functions_stay_readable(path):
    """Parameters and docstrings are declarations: what counts is the body of a function."""
    is_long = len(path.read_text().splitlines()) > 400
    assert is_long == (module_id(path) in STILL_LONG), "no module over 400 lines, and none listed as long that is not"
    for node in nodes(path):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node) and len(node.body) > 1 else node.body
            is_long = body[-1].end_lineno - body[0].lineno + 1 > 60
            assert is_long == (node.name in STILL_LONG_FUNCTIONS), f"{node.name}: over 60 lines, or listed and not"


@of_every(MODULES)
def test_only_the_command_line_prints(path):
    if room_of(path) == "cli":
        return
    for node in nodes(path):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            assert node.func.id != "print", f"{module_id(path)}:{node.lineno} prints"


@of_every(MODULES)
def test_module_names_say_something(path):
    assert path.stem not in {"utils", "util", "helpers", "helper", "common", "core", "base", "misc", "manager"}


def takes_a_mark(path: Path) -> bool:
    """Whether a module marks functions as kernels or formulas."""
    marks = {"formula", "kernel", "building_kernel"}
    return any(
        isinstance(node, ast.ImportFrom)
        and node.module == "projector.jit"
        and marks & {alias.name for alias in node.names}
        for node in nodes(path)
    )


@of_every(MODULES)
def test_no_kernel_is_made_of_a_source_that_the_cache_does_not_watch(path):
    """The folder of compiled kernels is named by a hash of some rooms only: no kernel may stand, or take a constant,
    elsewhere.
    """
    from projector.jit import KERNEL_SOURCES

    if not takes_a_mark(path):
        return
    assert module_id(path).startswith(KERNEL_SOURCES)
    for name in imported_modules(path):
        source = name.removeprefix("projector.").replace(".", "/")
        if name.startswith("projector.") and (PACKAGE / f"{source}.py").exists():
            assert f"{source}.py".startswith(KERNEL_SOURCES), f"{module_id(path)} imports {name}"


def test_one_name_is_one_thing():
    """No two classes of the package share a name: a scene's camera and the one that rays start from are two things."""
    homes: dict[str, list[str]] = {}
    for path in MODULES:
        for node in parsed(path).body:
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(module_id(path))
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}
