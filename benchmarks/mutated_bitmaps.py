"""Thousands of damaged picture files, read as stencil and as photograph: no traceback, 10 s, 2 GiB.

    python benchmarks/mutated_bitmaps.py [COUNT [SEED]]

Another process does the reading, so that a hang or a crash of a decoder is seen as well; it is stopped at 3 GiB. What
breaks a bound is kept in a folder that is named at the end.
"""

from __future__ import annotations

import collections
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))
SECONDS, BYTES = 10.0, 2 << 30


def read_them() -> None:
    """The reading process: paths on stdin, one line on stdout for each: outcome, seconds,
    most bytes of memory so far.
    """
    import resource
    import time
    import traceback

    from projector.faults import SceneError
    from projector.files.bitmap_file import read_bitmap, read_colours

    resource.setrlimit(resource.RLIMIT_AS, (3 << 30, 3 << 30))
    for line in sys.stdin:
        start, outcomes = time.perf_counter(), []
        for read in (read_bitmap, read_colours):
            try:
                read(line.strip(), "stencil")
                outcomes.append("read")
            except SceneError:
                outcomes.append("refused")
            except BaseException:
                outcomes.append("traceback")
                traceback.print_exc()
        outcome = "traceback" if "traceback" in outcomes else outcomes[0]
        print(
            outcome, time.perf_counter() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024, flush=True
        )


def run(count: int, seed: int) -> int:
    """Read so many mutants; the number of those that broke a bound."""
    import select

    from tests.scene.mutated_bitmaps import mutants

    folder = Path(tempfile.mkdtemp(prefix="mutated-bitmaps-"))
    tally: collections.Counter[str] = collections.Counter()
    slowest, reader, most_bytes = 0.0, None, 0
    for name, content in mutants(seed, count):
        path = folder / name
        path.write_bytes(content)
        if reader is None:
            reader = subprocess.Popen(
                [sys.executable, __file__, "--read"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
            )
        reader.stdin.write(f"{path}\n")
        reader.stdin.flush()
        # Starting the process counts as well, once.
        answer = reader.stdout.readline() if select.select([reader.stdout], [], [], 3 * SECONDS)[0] else "hang"
        if answer in ("", "hang"):
            tally[answer or "crash"] += 1
            print(answer or "crash", path)
            reader.kill()
            reader = None
            continue
        outcome, seconds, memory = answer.split()
        tally[outcome] += 1
        slowest, most_bytes = max(slowest, float(seconds)), max(most_bytes, int(memory))
        if outcome == "traceback" or float(seconds) > SECONDS or int(memory) > BYTES:
            print(outcome, f"{float(seconds):.1f} s", f"{int(memory) / 2**30:.2f} GiB", path)
            tally["slow or large"] += outcome != "traceback"
            reader.kill()
            reader = None
        else:
            path.unlink()
    if reader is not None:
        reader.kill()
    print(
        f"{count} files, seed {seed}: {dict(tally)}; slowest {slowest:.2f} s, most memory {most_bytes / 2**30:.2f} GiB;"
        f" bad ones in {folder}"
    )
    return sum(tally[kind] for kind in ("traceback", "hang", "crash", "slow or large"))


if __name__ == "__main__":
    if sys.argv[1:] == ["--read"]:
        read_them()
    else:
        sys.exit(
            bool(run(int(sys.argv[1]) if len(sys.argv) > 1 else 5000, int(sys.argv[2]) if len(sys.argv) > 2 else 1))
        )
