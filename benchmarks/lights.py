"""What a change of each kind costs in a scene of five lights and a projector, against the wanted times.

    python benchmarks/lights.py                    measure and print
    python benchmarks/lights.py --against COMMIT   measure this tree and that commit in turns, and print the ratios

The scene: head and torso of 60 000 triangles, a backdrop and a floor; a gridded dish, a fill panel, two gridded strips,
a hair spot and a projector; 960 × 720, quick, all CPUs, kernels compiled. "Ready" means sRGB bytes in memory. Beside
the wall's time stands that of the processors over their number, which other work on the machine troubles less.
Machines differ and are shared: only ratios of one run compare.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
WIDTH, HEIGHT, REPEATS = 960, 720, 7
WANTED_MS = {
    "first picture": 4000,
    "level": 30,
    "level of the key": 30,
    "colour": 30,
    "on or off": 30,
    "light moved, half size": 500,
    "light moved": 1500,
    "first picture, one bounce": 4000,
    "first picture, haze, half size": 3000,
    "fine picture": 15000,
}
CAMERA = """
format = 1
[camera]
position_m = [0.0, 1.5, 3.0]
aim = "sitter.chin"
focal_length_mm = 70
"""
PATTERN = """
[[projector]]
name = "pattern"
position_m = [-1.4, 2.0, 1.8]
aim = "sitter.nose_tip"
gate = { shape = "round", diameter_mm = 40 }
stencil = { file = "window", width_mm = 38 }
lens = { focal_length_mm = 85, f_number = 1.8, dispersion = { glass = "N-BK7" } }
reading = { f_number = 8, iso = 100, distance_m = 2.2 }
"""
LIGHTS = """
[[light]]
name = "key"
kind = "dish"
position_m = [0.6, 2.3, 1.5]
aim = "sitter.nose_tip"
grid = { beam_deg = 30 }
reading = { f_number = 5.6, at = "sitter.nose_tip" }
[[light]]
name = "fill"
kind = "panel"
position_m = [0.8, 1.6, 2.4]
aim = "sitter.chin"
width_m = 1.0
height_m = 1.4
against = { of = "key", at = "sitter.nose_tip", stops = -2 }
[[light]]
name = "left edge"
kind = "strip"
position_m = [1.2, 1.7, -0.5]
aim = "sitter.left_ear"
grid = { beam_deg = 40 }
against = { of = "key", at = "sitter.left_cheek", stops = 1 }
[[light]]
name = "right edge"
kind = "strip"
position_m = [-1.2, 1.7, -0.5]
aim = "sitter.right_ear"
grid = { beam_deg = 40 }
against = { of = "left edge", at = "sitter.top_of_head", stops = 0 }
[[light]]
name = "hair"
kind = "spot"
position_m = [0.2, 2.8, -0.8]
aim = "sitter.top_of_head"
against = { of = "key", at = "sitter.top_of_head", stops = 0.5 }
"""
ROOM = """
[[surface]]
name = "backdrop"
position_m = [0.0, 1.4, -1.0]
width_m = 5.0
height_m = 3.0
[[surface]]
name = "floor"
position_m = [0.0, 0.0, 1.0]
pitch_deg = -90
width_m = 5.0
height_m = 4.0
[[figure]]
name = "sitter"
"""
# Of the projector alone, with the five lights and without.
LENS = {
    "focus": "projector.pattern.focus.offset_mm={:.2f}",
    "f-number": "projector.pattern.lens.f_number={:.2f}",
}


class Clock:
    """Milliseconds of the wall and of the processors over their number, by what was done."""

    def __init__(self):
        self.wall: dict[str, list[float]] = {}
        self.processors: dict[str, list[float]] = {}

    def time(self, name: str, work) -> None:
        """Call work, and note how long it took."""
        start, busy = time.perf_counter(), time.process_time()
        work()
        self.wall.setdefault(name, []).append(1e3 * (time.perf_counter() - start))
        self.processors.setdefault(name, []).append(1e3 * (time.process_time() - busy) / (os.cpu_count() or 1))


def time_changes(clock: Clock, name: str, session, base, change: str, values) -> None:
    """A change of a warm session, another value every time."""
    from projector.scene.reading.reader import with_overrides

    for number, value in enumerate(values):
        scene = with_overrides(base, [change.format(value)])

        def show(scene=scene):
            session.change_to(scene)
            session.rgb_bytes()

        if number:  # the first of a kind warms up
            clock.time(name, show)
        else:
            show()
    session.change_to(base)
    session.rgb_bytes()


def measure(with_fine: bool = False) -> Clock:
    """Milliseconds of every kind of change."""
    from projector.rendering.session import RenderSession
    from projector.rendering.workers import Workers
    from projector.scene.model.scene import Scene
    from projector.scene.reading.reader import load_text

    clock, numbers = Clock(), range(1, REPEATS + 2)
    base = load_text(CAMERA + PATTERN + LIGHTS + ROOM, "benchmark", ROOT)
    with Workers() as workers:

        def session_of(scene, share=1, quality="quick"):
            return RenderSession(scene, WIDTH // share, HEIGHT // share, quality, workers)

        session_of(base, 4).rgb_bytes()
        for _ in range(2):
            session = session_of(base)
            clock.time("first picture", session.rgb_bytes)
        down = [-0.1 * number for number in numbers]
        time_changes(clock, "level", session, base, "light.fill.against.stops={:.2f}", [-2 + item for item in down])
        time_changes(
            clock, "level of the key", session, base, "light.key.reading.f_number={:.2f}", [5.6 + item for item in down]
        )
        kelvin = [4000 + 100 * number for number in numbers]
        time_changes(clock, "colour", session, base, "light.hair.source.temperature_k={}", kelvin)
        turns = ["true" if number % 2 else "false" for number in numbers]
        time_changes(clock, "on or off", session, base, "light.fill.on={}", turns)
        places = [0.8 + 0.02 * number for number in numbers]
        moved = "light.fill.position_m=[{:.2f}, 1.6, 2.4]"
        time_changes(clock, "light moved", session, base, moved, places)
        half = session_of(base, 2)
        half.rgb_bytes()
        time_changes(clock, "light moved, half size", half, base, moved, places)
        alone = load_text(CAMERA + PATTERN + ROOM, "benchmark", ROOT)
        plain = session_of(alone)
        plain.rgb_bytes()
        for name, change in LENS.items():
            values = [2.0 + 0.1 * number if name == "f-number" else 0.05 * number for number in numbers]
            time_changes(clock, f"{name} of the projector, alone", plain, alone, change, values)
            time_changes(clock, f"{name} of the projector, five lights", session, base, change, values)
        hazy = load_text(
            CAMERA + PATTERN + LIGHTS + ROOM + "[haze]\nloss_percent = 10\nover_m = 4\n", "benchmark", ROOT
        )
        session_of(hazy, 10).rgb_bytes()
        clock.time("first picture, haze, half size", session_of(hazy, 2).rgb_bytes)
        if "bounces" in Scene.model_fields:
            bounced = load_text(CAMERA.replace("format = 1", "format = 1\nbounces = 1") + PATTERN + LIGHTS + ROOM)
            session_of(bounced, 10).rgb_bytes()
            clock.time("first picture, one bounce", session_of(bounced).rgb_bytes)
        if with_fine:
            clock.time("fine picture", session_of(base, 1, "fine").rgb_bytes)
    return clock


def print_table(clock: Clock) -> None:
    """The table for people."""
    print(f"{'change':40}{'median':>9}{'minimum':>9}{'maximum':>9}{'processors':>12}{'wanted':>9}   ms")
    for name, values in clock.wall.items():
        wanted = WANTED_MS.get(name)
        median, busy = statistics.median(values), statistics.median(clock.processors[name])
        mark = "" if wanted is None or median <= wanted else "  over"
        print(f"{name:40}{median:9.0f}{min(values):9.0f}{max(values):9.0f}{busy:12.0f}{wanted or '':>9}{mark}")


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
                    for name, values in json.loads(run.stdout).items():
                        collected[label].setdefault(name, []).extend(values)
        finally:
            subprocess.run(["git", "worktree", "remove", "--force", str(other)], cwd=ROOT, check=True)
    print(f"{'change':40}{'this tree':>11}{commit[:10]:>11}   ratio")
    for name, values in collected["this"].items():
        mine, theirs = statistics.median(values), statistics.median(collected["other"].get(name, values))
        print(f"{name:40}{mine:11.0f}{theirs:11.0f}{mine / theirs:8.2f}")


def main() -> None:
    """Measure and print, or compare."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--against", metavar="COMMIT")
    parser.add_argument("--fine", action="store_true", help="the fine picture as well")
    parser.add_argument("--json", action="store_true", help="print the numbers only, for --against")
    options = parser.parse_args()
    if options.against:
        compare(options.against)
        return
    clock = measure(options.fine)
    if options.json:
        print(json.dumps(clock.wall))
        return
    print(f"load of the machine over the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} CPUs")
    print_table(clock)


if __name__ == "__main__":
    main()
