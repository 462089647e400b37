"""What a change of each kind costs in a render session: median, minimum and maximum of 15, against the wanted times.

    python benchmarks/preview.py                    measure, print, and add a line to benchmarks/log.jsonl
    python benchmarks/preview.py --against COMMIT   measure this tree and that commit in turns, and print the ratios

The scene: head and torso of 60 000 triangles, a backdrop, one projector, 960 × 720, six wavelengths, all CPUs, warm.
"Ready" means sRGB bytes in memory. Machines differ and are shared: only ratios of one run compare.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WIDTH, HEIGHT, REPEATS = 960, 720, 15
WANTED_MS = {
    "exposure": 25,
    "focus": 60,
    "dispersion": 60,
    "source colour": 60,
    "f-number, unshadowed": 60,
    "f-number": 200,
    "stencil, new": 350,
    "stencil, seen before": 60,
    "projector moved, half size": 120,
    "projector moved": 600,
    "camera moved, half size": 200,
    "camera moved": 800,
    "haze, half size": 3000,
    "haze, power": 60,
    "one bounce, all anew": 4000,
    "one bounce, another level": 60,
    "cold process to first PNG": 2500,
}
SCENE = """
format = 1
[camera]
position_m = [0.0, 1.5, 3.0]
aim = "sitter.chin"
focal_length_mm = 70
[[projector]]
name = "key"
position_m = [-1.4, 2.0, 1.8]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 40 }
stencil = { file = "window", width_mm = 38 }
lens = { focal_length_mm = 85, f_number = 1.8, dispersion = { glass = "N-BK7" } }
reading = { f_number = 8, iso = 100, distance_m = 2.2 }
[[surface]]
name = "backdrop"
position_m = [0.0, 1.4, -1.0]
width_m = 5.0
height_m = 3.0
"""
FLOOR = """
[[surface]]
name = "floor"
position_m = [0.0, 0.0, 1.0]
pitch_deg = 90
width_m = 5.0
height_m = 4.0
reflectance = 0.5
"""
FIGURE = '[[figure]]\nname = "sitter"\n'
STENCILS = (
    "blinds",
    "leaves",
    "dots",
    "lattice",
    "breakup",
    "branches",
    "swirl",
    "stripes",
    "arched-window",
    "circle",
    "skylight",
    "square",
    "triangle",
    "slit",
    "door",
    "window",
)


def timed(session, scene) -> float:
    """Milliseconds until the changed scene's bytes are ready."""
    session.change_to(scene)
    start = time.perf_counter()
    session.rgb_bytes()
    return 1e3 * (time.perf_counter() - start)


def shown_after(session, before, scene) -> float:
    """The same of a scene that the session shows after another one: what that does not have is made anew."""
    timed(session, before)
    return timed(session, scene)


def changes(index: int) -> dict[str, list[str]]:
    """The overrides of each kind of change, another value every time."""
    return {
        "exposure": [f"camera.iso={100 + index}"],
        "focus": [f"projector.key.focus.offset_mm={0.05 * index + 0.01}"],
        "dispersion": [f"projector.key.lens.dispersion={{abbe_number={40 + index}.0}}"],
        "source colour": [f"projector.key.source.temperature_k={4000 + 50 * index}"],
        "f-number": [f"projector.key.lens.f_number={2.0 + 0.2 * index}"],
        "stencil, new": [f"projector.key.stencil.file={STENCILS[index % len(STENCILS)]}"],
        "projector moved": [f"projector.key.position_m=[{-1.4 - 0.01 * index}, 2.0, 1.8]"],
        "camera moved": [f"camera.position_m=[{0.01 * index}, 1.5, 3.0]"],
    }


def measure() -> tuple[dict[str, list[float]], str]:
    """Milliseconds of every kind of change, and a checksum of the picture."""
    from projector.rendering.session import RenderSession
    from projector.scene.reading.reader import load_text, with_overrides

    base = load_text(SCENE + FIGURE, "benchmark", ROOT)
    session = RenderSession(base, WIDTH, HEIGHT)
    checksum = hashlib.sha256(session.rgb_bytes().tobytes()).hexdigest()[:16]
    found: dict[str, list[float]] = {}
    for name in changes(0):
        for index in range(REPEATS + 1):
            milliseconds = timed(session, with_overrides(base, changes(index + 1)[name]))
            if index:  # the first of a kind warms up
                found.setdefault(name, []).append(milliseconds)
        timed(session, base)
    pair = [with_overrides(base, [f"projector.key.stencil.file={name}"]) for name in ("dots", "blinds")]
    for scene in pair:
        timed(session, scene)
    found["stencil, seen before"] = [timed(session, pair[index % 2]) for index in range(REPEATS)]
    half = RenderSession(base, WIDTH // 2, HEIGHT // 2)
    half.rgb_bytes()
    for name in ("projector moved", "camera moved"):
        found[f"{name}, half size"] = [
            timed(half, with_overrides(base, changes(index + 1)[name])) for index in range(REPEATS)
        ]
    found |= where_known(lambda: in_haze(half, base))
    bare = load_text(
        SCENE.replace("sitter.chin", "backdrop.centre").replace('"sitter.nose_tip"', "[0.0, 1.6, -1.0]"),
        "benchmark",
        ROOT,
    )
    plain = RenderSession(bare, WIDTH, HEIGHT)
    plain.rgb_bytes()
    found["f-number, unshadowed"] = [
        timed(plain, with_overrides(bare, changes(index + 1)["f-number"])) for index in range(REPEATS)
    ]
    found |= where_known(one_bounce)
    found["cold process to first PNG"] = [cold_process() for _ in range(3)]
    return found, checksum


def where_known(rows) -> dict[str, list[float]]:
    """Rows of what a commit can do; none where it does not know the words of their scene, as an older one."""
    from projector.faults import SceneError

    try:
        return rows()
    except SceneError:
        return {}


def in_haze(half, base) -> dict[str, list[float]]:
    """Milliseconds of a session's scene at half size in haze: all of it anew, and another power."""
    from projector.scene.reading.reader import with_overrides

    hazy = with_overrides(base, ["haze={loss_percent=10.0, over_m=4.0}"])
    anew = [shown_after(half, base, hazy) for _ in range(REPEATS)]
    powers = [with_overrides(hazy, [f"projector.key.reading.iso={100 + index}"]) for index in range(REPEATS)]
    return {"haze, half size": anew, "haze, power": [timed(half, scene) for scene in powers]}


def one_bounce() -> dict[str, list[float]]:
    """Milliseconds of the scene with a floor and light that bounces once: in a new session, and another level."""
    from projector.rendering.session import RenderSession
    from projector.scene.reading.reader import load_text, with_overrides

    scene = with_overrides(load_text(SCENE + FLOOR + FIGURE, "benchmark", ROOT), ["bounces=1"])
    anew, level = [], []
    for index in range(4):
        session = RenderSession(scene, WIDTH, HEIGHT)
        anew.append(timed(session, scene))
        level.append(timed(session, with_overrides(scene, [f"projector.key.reading.f_number={9 + index}"])))
    return {"one bounce, all anew": anew[1:], "one bounce, another level": level[1:]}


def cold_process() -> float:
    """Milliseconds of a whole `projector preview --quality quick`, kernels and figure in the cache, modules compiled as
    an installer leaves them.
    """
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryDirectory() as folder:
        command = [
            sys.executable,
            "-c",
            "from projector.cli import main; main()",
            "preview",
            "01-square-wall",
            "--quality",
            "quick",
            "--size",
            f"{WIDTH}x{HEIGHT}",
        ]
        start = time.perf_counter()
        subprocess.run(command, cwd=folder, check=True, capture_output=True, env=environment)
        return 1e3 * (time.perf_counter() - start)


def print_table(found: dict[str, list[float]]) -> None:
    """The table for people."""
    print(f"{'change':32}{'median':>9}{'minimum':>9}{'maximum':>9}{'wanted':>9}   ms")
    for name, values in found.items():
        wanted = WANTED_MS.get(name)
        median = statistics.median(values)
        mark = "" if wanted is None or median <= wanted else "  over"
        print(f"{name:32}{median:9.0f}{min(values):9.0f}{max(values):9.0f}{wanted or '':>9}{mark}")


def commit_of(root: Path) -> str:
    """Short commit of a tree, with a plus if it has changes."""
    name = subprocess.run(
        ["git", "rev-parse", "--short", "HEAD"], cwd=root, capture_output=True, text=True
    ).stdout.strip()
    changed = subprocess.run(
        ["git", "status", "--porcelain", "--untracked-files=no"], cwd=root, capture_output=True, text=True
    ).stdout.strip()
    return (name or "unknown") + ("+" if changed else "")


def compare(commit: str) -> None:
    """This tree and another commit in turns, three times each, and the ratio of their medians."""
    with tempfile.TemporaryDirectory() as folder:
        other = Path(folder) / "other"
        subprocess.run(["git", "worktree", "add", "--detach", "-q", str(other), commit], cwd=ROOT, check=True)
        try:
            collected: dict[str, dict[str, list[float]]] = {"this": {}, "other": {}}
            for _ in range(3):
                for label, root in (("this", ROOT), ("other", other)):
                    run = subprocess.run(
                        [sys.executable, __file__, "--json"],
                        capture_output=True,
                        text=True,
                        check=True,
                        env={**os.environ, "PYTHONPATH": str(root)},
                    )
                    for name, values in json.loads(run.stdout)["milliseconds"].items():
                        collected[label].setdefault(name, []).extend(values)
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", str(other)], cwd=ROOT, check=True)
    print(f"{'change':32}{'this tree':>11}{commit[:10]:>11}   ratio")
    for name, values in collected["this"].items():
        mine, before = statistics.median(values), collected["other"].get(name)
        theirs = statistics.median(before) if before else None
        print(f"{name:32}{mine:11.0f}" + (f"{theirs:11.0f}{mine / theirs:8.2f}" if theirs else "          -       -"))


def main() -> None:
    """Measure and print, or compare."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--against", metavar="COMMIT")
    parser.add_argument("--json", action="store_true", help="print the numbers only, for --against")
    options = parser.parse_args()
    if options.against:
        compare(options.against)
        return
    found, checksum = measure()
    if options.json:
        print(json.dumps({"milliseconds": found, "checksum": checksum}))
        return
    print_table(found)
    line = {
        "commit": commit_of(ROOT),
        "machine": f"{platform.machine()}, {os.cpu_count()} CPUs",
        "python": platform.python_version(),
        "checksum": checksum,
        "median_ms": {name: round(statistics.median(values), 1) for name, values in found.items()},
    }
    with (ROOT / "benchmarks" / "log.jsonl").open("a") as file:
        file.write(json.dumps(line) + "\n")


if __name__ == "__main__":
    main()
