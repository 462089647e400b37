"""Scenes changed at random, to find what the program should have refused, answered or survived.

    python benchmarks/mutated_scenes.py scenes --cases 500 --seed 1
    python benchmarks/mutated_scenes.py texts --cases 3000
    python benchmarks/mutated_scenes.py changes --cases 3000
    python benchmarks/mutated_scenes.py scenes --only 123          # one case again, by its number

`scenes`: values set anywhere within what the format allows; what the checks let through is rendered and asked about.
`texts`: damaged files; `changes`: odd overrides; `numbers`: odd numbers beside commands. Each case depends on its seed
and number alone. Trouble is an exception that is not the user's fault in words, light that is negative or no number, a
printed number that is none, more than 10 s of the processor or 2 GiB. A share of the same cases runs among the tests.
"""

from __future__ import annotations

import argparse
import functools
import math
import random
import re
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from projector.faults import SceneError
from projector.files.finding import list_scenes, shipped_folder
from projector.scene.model import Scene, scene_schema
from projector.scene.placement import landmarks_of
from projector.scene.reading.reader import load, load_text, with_overrides

MOST_SECONDS, MOST_BYTES = 10.0, 2 * 2**30
SIZE = (40, 30)
ODD_VALUES = [
    "nan", "inf", "-inf", "true", "false", "0", "-0.0", "1", "-1", "5e-324", "1e-300", "1e308", "-1e308", "9" * 200,
    "-" + "7" * 200, "8" * 400, "0." + "0" * 200 + "1", '""', '"x"', '"1"', '"1/200"', '"' + "a" * 5000 + '"',
    '"\\u0000"', '"é"', "[]", "{}", "[[]]", "[{}]", "[1, 2, 3]", "[nan, 0, 0]", "[1e308, 0, 0]",
    "[" + "9" * 200 + ", 0, 0]", "1979-05-27", "07:32:00", "{ file = 'window' }", "{ a = { b = { c = 1 } } }",
    '"sitter.left_eye"', '"."', '".."', "'/'", "0x7fffffffffffffff", "1_000",
]  # fmt: skip
# What a text of a file may be: names of files, landmarks and glasses that are there, and some that are not.
GLASSES = ["N-BK7", "F2", "N-SF5", "nothing"]


# --- values within what the format allows


class Legal:
    """Random values of the scene format's own schema, near what stands there, inside the limits, or on them."""

    def __init__(self, scene, rng: random.Random):
        self.schema, self.rng = scene_schema(), rng
        self.points = [*sorted(landmarks_of(scene)), "nobody.nose"]

    def spots(self, schema: dict, data, path: tuple = ()) -> Iterator[tuple[tuple, dict]]:
        """Every place of a scene's data that may hold a value, with what may stand there."""
        schema = self._open(schema, data)
        if isinstance(data, dict) and "properties" in schema:
            for name, inner in schema["properties"].items():
                if name == "format":
                    continue
                yield (*path, name), inner
                if name in data:
                    yield from self.spots(inner, data[name], (*path, name))
        elif isinstance(data, list):
            for index, item in enumerate(data):
                inner = (
                    schema["prefixItems"][index] if index < len(schema.get("prefixItems", ())) else schema.get("items")
                )
                if isinstance(inner, dict):
                    yield (*path, index), inner
                    yield from self.spots(inner, item, (*path, index))

    def _open(self, schema: dict, data=None) -> dict:
        """What a schema refers to; of several the one that has the data's kind."""
        if "$ref" in schema:
            return self.schema["$defs"][schema["$ref"].rsplit("/", 1)[1]]
        kinds = {dict: "object", list: "array", str: "string"}
        for choice in schema.get("anyOf", ()):
            opened = self._open(choice)
            if opened.get("type") == kinds.get(type(data), "number"):
                return opened
        return schema

    def value(self, schema: dict, name: str, now=None):
        """A value that the schema allows, by itself."""
        rng = self.rng
        if "anyOf" in schema:
            return self.value(rng.choice([item for item in schema["anyOf"] if item.get("type") != "null"]), name, now)
        schema = self._open(schema)
        if "enum" in schema or "const" in schema:
            return rng.choice(schema.get("enum") or [schema["const"]])
        kind = schema.get("type")
        if kind in ("number", "integer"):
            return self._number(schema, now if isinstance(now, (int, float)) and not isinstance(now, bool) else None)
        if kind == "boolean":
            return rng.random() < 0.5
        if kind == "string":
            return self._text(name)
        if kind == "array":
            items = schema.get("prefixItems") or [schema["items"]] * rng.randint(0, min(schema.get("maxItems", 3), 3))
            return [self.value(item, name) for item in items]
        wanted = [key for key in schema["properties"] if key in schema.get("required", ()) or rng.random() < 0.4]
        return {key: self.value(schema["properties"][key], key) for key in wanted}

    def _number(self, schema: dict, now):
        rng, whole = self.rng, schema["type"] == "integer"
        low = schema.get("minimum", schema.get("exclusiveMinimum", -1000.0))
        high = schema.get("maximum", schema.get("exclusiveMaximum", 1000.0))
        tiny = rng.choice([1e-12, 1e-6, 1e-3]) * (high - low)
        inner_low = low + ((1 if whole else tiny) if "exclusiveMinimum" in schema else 0)
        inner_high = high - ((1 if whole else tiny) if "exclusiveMaximum" in schema else 0)
        way = rng.random()
        if way < 0.35 and now:
            value = now * math.exp(rng.uniform(-1.5, 1.5))
        elif way < 0.6:
            value = rng.uniform(low, high)
        elif way < 0.8:
            # Any order of magnitude between the limits.
            size = math.exp(
                rng.uniform(math.log(max(abs(low), 1e-6)), math.log(max(abs(low), abs(high), 1e-6) * 1.000001))
            )
            value = size if low >= 0.0 or rng.random() < 0.5 else -size
        else:
            value = rng.choice([inner_low, inner_high, 0.0, 1.0])
        value = min(max(value, inner_low), inner_high)
        return round(value) if whole else float(value)

    def _text(self, name: str) -> str:
        rng = self.rng
        if name in ("aim", "at", "focus"):
            return rng.choice(self.points)
        if name == "file":
            return rng.choice(["window", "slit", "blinds", "circle", "nothing-there"])
        if name in ("glass", "achromat"):
            return rng.choice(GLASSES)
        return rng.choice(["window", "wall", "sitter", "a b", "x" * 60])


def legal_data(seed: int, number: int) -> tuple[dict, Scene]:
    """Plain data of a shipped scene with a few values changed within the format's limits,
    and the scene it came from.
    """
    rng = random.Random(f"legal {seed} {number}")
    scene = load(rng.choice(list_scenes())[0])
    data = scene.model_dump(mode="json", exclude_none=True, exclude_unset=True)
    legal = Legal(scene, rng)
    # Now and then several values of projectors and camera at once: their extremes meet.
    of_lights = rng.random() < 0.25
    for _ in range(rng.choice([4, 6]) if of_lights else rng.choice([1, 1, 2, 2, 3, 5])):
        spots = [(path, schema, _value_at(data, path)) for path, schema in legal.spots(legal.schema, data)]
        if of_lights:
            spots = [spot for spot in spots if len(spot[0]) > 1 and spot[0][0] in ("projector", "camera")]
        # What the file says already, and numbers above all: the rest is mostly keys that it does not need.
        numbers = [spot for spot in spots if isinstance(spot[2], (int, float)) and not isinstance(spot[2], bool)]
        path, schema, now = rng.choice(numbers if rng.random() < 0.6 else spots)
        here = _value_at(data, path[:-1])
        last = path[-1]
        if isinstance(here, dict) and now is not None and rng.random() < 0.1:
            del here[last]
        else:
            here[last] = legal.value(schema, next(part for part in reversed(path) if isinstance(part, str)), now)
    return data, scene


def _value_at(data, path: tuple):
    """What stands at a path, None where nothing does."""
    for part in path:
        data = data[part] if isinstance(part, int) else data.get(part)
    return data


# --- damaged texts and odd changes


def damaged_text(seed: int, number: int) -> str:
    """The text of a shipped scene with values, letters or lines exchanged, lost or doubled."""
    rng = random.Random(f"text {seed} {number}")
    text = rng.choice(list_scenes())[0].read_text()
    for _ in range(rng.choice([1, 1, 2, 3])):
        lines = text.split("\n")
        way = rng.random()
        if way < 0.55:
            values = list(re.finditer(r"(?<== )(\[[^\]\n]*\]|\"[^\"\n]*\"|[-\d.]+|\{[^{}\n]*\})", text))
            if values:
                chosen = rng.choice(values)
                text = text[: chosen.start()] + rng.choice(ODD_VALUES) + text[chosen.end() :]
        elif way < 0.65:
            lines.pop(rng.randrange(len(lines)))
            text = "\n".join(lines)
        elif way < 0.75:
            lines.insert(rng.randrange(len(lines)), rng.choice(lines))
            text = "\n".join(lines)
        elif way < 0.85:
            text = text[: rng.randrange(len(text))]
        else:
            start = rng.randrange(len(text))
            text = (
                text[:start]
                + rng.choice(["", "=", "[", "]", '"', "\x00", "é", "\n", "9" * 50, "{", ".", "#", "\t"])
                + text[start + rng.randint(0, 12) :]
            )
    return text


def odd_changes(seed: int, number: int) -> tuple[Scene, list[str]]:
    """A shipped scene and one to three changes as typed: keys of the format, of others, deeper than there is anything;
    any value.
    """
    rng = random.Random(f"change {seed} {number}")
    scene = load(rng.choice(list_scenes())[0])
    legal = Legal(scene, rng)
    data = scene.model_dump(mode="json", exclude_none=True)
    paths = [path for path, _ in legal.spots(legal.schema, data)]
    changes = []
    for _ in range(rng.choice([1, 1, 2, 3])):
        keys, here = [], data
        for part in rng.choice(paths):
            item = (
                here[part]
                if isinstance(part, int) and part < len(here)
                else here.get(part)
                if isinstance(here, dict)
                else None
            )
            keys.append(
                str(item.get("name", part + 1))
                if isinstance(part, int) and isinstance(item, dict)
                else str(part + 1)
                if isinstance(part, int)
                else part
            )
            here = item
        if rng.random() < 0.3:
            keys.append(rng.choice(["x", "1", "file", "a", "0", "lens", ""]))
        if rng.random() < 0.1:
            keys = keys[:-1]
        changes.append(f"{'.'.join(keys)}={rng.choice(ODD_VALUES)}")
    return scene, changes


# --- what must hold


def checked(data: dict, scene: Scene) -> Scene | None:
    """The scene that the data says, None where the checks refuse it."""
    import tomlkit

    try:
        return load_text(tomlkit.dumps(data), scene.name, scene.folder)
    except SceneError as error:
        faults = error.faults
    assert all(fault.found for fault in faults)
    return None


def troubles_of_light(scene: Scene, size=SIZE) -> list[str]:
    """What is wrong with the light that a scene renders to: XYZ that is negative or no number."""
    from projector.rendering.session import RenderSession
    from projector.rendering.workers import Workers

    with Workers(1) as workers:
        light, matrix = RenderSession(scene, *size, "quick", workers).exposed()
    found = []
    if not (math.isfinite(float(light.sum(dtype=float))) and math.isfinite(float(abs(matrix).sum()))):
        found.append("light that is no number")
    elif float(light.min()) < 0.0:
        found.append(f"negative light: {float(light.min()):g} beside {float(light.max()):g}")
    return found


# What is asked of each scene that its checks let through, as it is typed after the scene's file.
QUESTIONS = {
    "preview": ["--size", f"{SIZE[0]}x{SIZE[1]}", "--quality", "quick", "--threads", "1", "-o", "picture"],
    "sharpness": ["--within-mm", "5"],
    "fringe": [],
    "contrast": ["--wanted-stops", "3"],
    "throw": [],
    "map": ["--across", "24", "--quality", "quick", "--threads", "1", "-o", "map"],
}


def troubles_of_answers(data: dict, folder: Path, questions: dict[str, list[str]] = QUESTIONS) -> list[str]:
    """What is wrong with what commands say of a scene, as typed: numbers that are none, faults of the program."""
    import tomlkit
    from typer.testing import CliRunner

    from projector.cli import app

    (folder / "scene.toml").write_text(tomlkit.dumps(data))
    found = []
    for command, options in questions.items():
        typed = [
            str(folder / item) if before == "-o" else item
            for before, item in zip(["", *options], options, strict=False)
        ]
        answer = CliRunner().invoke(app, [command, str(folder / "scene.toml"), *typed])
        lines = answer.output.splitlines()
        if answer.exit_code not in (0, 1):
            found.append(f"{command}: exit {answer.exit_code}: {_fault_of(lines)}")
        found += [f'{command} says "{line}"' for line in lines if _says_no_number(line)]
    return found


def _fault_of(lines: list[str]) -> str:
    """The program's own fault, with where it arose."""
    text = next((line for line in lines if "fault of the program" in line), lines[-1] if lines else "")
    file = next((match[1] for line in lines if (match := re.search(r"with the file (\S+)", line))), None)
    if file is None:
        return text
    calls = re.findall(r'File "[^"]*/projector/([^"]+)", line (\d+)', Path(file).read_text())
    Path(file).unlink()
    return f"{text.rpartition('yours: ')[2][:160]} ({':'.join(calls[-1])})" if calls else text


def troubles_of_scene(seed: int, number: int, answers: bool = True) -> list[str]:
    """One legal scene, rendered and asked about if its checks let it through."""
    data, origin = legal_data(seed, number)
    scene = checked(data, origin)
    if scene is None:
        return []
    try:
        with tempfile.TemporaryDirectory() as folder:
            return [
                "rendered",
                *troubles_of_light(scene),
                *(troubles_of_answers(data, Path(folder)) if answers else []),
            ]
    except SceneError as error:
        # Refused after the checks, in words: an answer, though an early one would be better.
        return [f"refused late: {error.faults[0].found}"]


def troubles_of_text(seed: int, number: int) -> list[str]:
    """One damaged file: a scene, or faults in words."""
    try:
        load_text(damaged_text(seed, number), "scene.toml", shipped_folder("scene"))
    except SceneError as error:
        return [f"says nothing of {fault}" for fault in error.faults if not fault.found]
    return []


def troubles_of_changes(seed: int, number: int) -> list[str]:
    """One set of odd changes: made, or refused in words; to a scene in memory, to its file and to a damaged one."""
    scene, changes = odd_changes(seed, number)
    for changed in (
        lambda: with_overrides(scene, changes),
        lambda: load(scene.name, changes),
        lambda: load_text(damaged_text(seed, number), "scene", scene.folder, changes),
    ):
        try:
            changed()
        except SceneError as error:
            if not all(fault.found for fault in error.faults):
                return ["a fault without words"]
    return []


# Numbers as they are typed beside a command, without a scene or with one.
ASKED = {
    "throw": [
        "--focal-length-mm",
        "--beam-angle-deg",
        "--lit-width-mm",
        "--lit-height-mm",
        "--throw-m",
        "--width-m",
        "--height-m",
        "--travel-mm",
        "--f-number",
        "--to-m",
    ],
    "sharpness": ["--focal-length-mm", "--f-number", "--throw-m", "--wall-m", "--stencil-off-mm", "--within-mm"],
    "contrast": [
        "--open-share",
        "--ambient-stops-under",
        "--lens-reflectance",
        "--stencil-reflectance",
        "--wanted-stops",
    ],
    "timing": [
        "--shutter-s",
        "--speed-m-per-s",
        "--flash-t01-s",
        "--flash-t05-s",
        "--sync-s",
        "--lamp-hz",
        "--modulation",
    ],
    "place 01-square-wall --lens achromat": ["--width-m", "--edge-mm", "--f-number", "--iso", "--angle-max-deg"],
    "throw 06-oblique-wall": ["--width-m"],
    "sharpness 01-square-wall": ["--within-mm"],
    "fringe 03-cabin-window": ["--tolerance-arcmin", "--tolerance-pixels"],
}
TYPED = [
    "0",
    "-1",
    "1",
    "2",
    "0.3",
    "5",
    "30",
    "85",
    "400",
    "1/200",
    "1e-320",
    "1e-12",
    "1e-3",
    "1e4",
    "1e9",
    "1e150",
    "1e308",
    "nan",
    "inf",
    "-inf",
    "9" * 400,
    "x",
    "1e400",
]


def troubles_of_numbers(seed: int, number: int) -> list[str]:
    """A command with some numbers, sound and odd ones: an answer, or a refusal in words."""
    from typer.testing import CliRunner

    from projector.cli import app

    rng = random.Random(f"numbers {seed} {number}")
    command = rng.choice([*ASKED, *list(ASKED)[:4]])
    options = rng.sample(ASKED[command], rng.randint(1, len(ASKED[command])))
    if command.startswith("place"):
        options = sorted({*options, "--width-m", "--edge-mm"})
    sound = rng.random() < 0.5
    typed = [
        item
        for option in options
        for item in (option, rng.choice(TYPED[2:10] if sound and rng.random() < 0.8 else TYPED))
    ]
    answer = CliRunner().invoke(
        app, [*command.split(), *(f"{a}={b}" for a, b in zip(typed[::2], typed[1::2], strict=True))]
    )
    lines = answer.output.splitlines()
    found = (
        []
        if answer.exit_code in (0, 1, 2)
        else [f"{command} {' '.join(typed)}: exit {answer.exit_code}: {_fault_of(lines)}"]
    )
    return found + (
        [
            f'{command} {" ".join(typed)} says "{line}"'
            for line in lines
            if answer.exit_code == 0 and _says_no_number(line)
        ]
    )


def _says_no_number(line: str) -> bool:
    """Whether a line holds a number that is none."""
    return bool(re.search(r"(?<![\w.])(nan|inf)(?![\w])", line))


CASES = {
    "scenes": troubles_of_scene,
    "texts": troubles_of_text,
    "changes": troubles_of_changes,
    "numbers": troubles_of_numbers,
}


def _run(kind: str, seed: int, number: int) -> tuple[list[str], float]:
    start = time.process_time()
    try:
        found = CASES[kind](seed, number)
    except Exception as error:
        frame = traceback.extract_tb(error.__traceback__)[-1]
        found = [
            f"{type(error).__name__}: {str(error)[:160]} ({frame.filename.rsplit('/projector/', 1)[-1]}:{frame.lineno})"
        ]
    seconds = time.process_time() - start
    if seconds > MOST_SECONDS:
        found.append(f"{seconds:.0f} s of the processor")
    return found, seconds


def main() -> None:
    """Run cases of one kind and say which gave trouble."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("kind", choices=CASES)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", type=int)
    parser.add_argument("--light-only", action="store_true", help="scenes: render them, ask nothing")
    asked = parser.parse_args()
    # Past this the process would rather end than take the machine along.
    resource.setrlimit(resource.RLIMIT_AS, (6 * 2**30, 6 * 2**30))
    warnings.filterwarnings("error", category=RuntimeWarning)
    numbers = range(asked.first, asked.first + asked.cases) if asked.only is None else [asked.only]
    counts, peak = Counter(), 0
    if asked.light_only:
        CASES["scenes"] = functools.partial(troubles_of_scene, answers=False)
    for number in numbers:
        if asked.only is not None:
            print(CASES[asked.kind](asked.seed, number))
            return
        found, seconds = _run(asked.kind, asked.seed, number)
        memory = 1024 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        if memory > max(peak, MOST_BYTES):
            found.append(f"{memory / 2**30:.1f} GiB")
        peak = max(peak, memory)
        troubles = [item for item in found if item != "rendered"]
        counts["rendered"] += "rendered" in found
        counts["refused late"] += any(item.startswith("refused late") for item in troubles)
        counts["trouble"] += bool(troubles) and not troubles[0].startswith("refused late")
        for item in troubles:
            print(f"{asked.kind} {asked.seed} {number} ({seconds:.1f} s): {item}", flush=True)
    print(f"{len(numbers)} {asked.kind}: {dict(counts)}; at most {peak / 2**30:.1f} GiB", file=sys.stderr)


if __name__ == "__main__":
    main()
