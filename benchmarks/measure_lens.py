"""How long it takes to learn a lens from five photographs of 1200 × 900 pixels, here and at another commit.

    python benchmarks/measure_lens.py                    seconds of processor time, and what was found
    python benchmarks/measure_lens.py --against COMMIT   this tree and that commit in turns, and the ratio

The photographs are made from the closed form of a disc's edge: a single element of Abbe number 55 at f/2.8, with noise.
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
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
OFFSETS = (-1.0, -0.5, 0.0, 0.5, 1.0)
FOCAL_LENGTH_M, F_NUMBER, THROW_M, MM_PER_PIXEL, ABBE = 0.085, 2.8, 2.0, 0.25, 55.0

TIMED = """
import json, sys, time
from pathlib import Path
from projector.studies.lenses.lens_fit import SetUp
from projector.studies.lenses.measured_lens import EdgePhotograph, measure
photographs = [EdgePhotograph(Path(path), float(offset)) for path, offset in zip(sys.argv[1::2], sys.argv[2::2])]
start = time.process_time()
fit = measure(photographs, 0.25, "srgb", SetUp(2.0, 85.0, 2.0)).fit
print(json.dumps([time.process_time() - start, str(fit.pupil_mm), str(fit.dispersion)]))
"""


def photograph(offset_mm: float, width: int, height: int, seed: int) -> np.ndarray:
    """Linear light (h, w, 3) of an edge slanted by 5°: every wavelength's disc in closed form, weighed into the
    channels.
    """
    from projector.optics.dispersion import abbe_relative_power
    from projector.optics.thin_lens import conjugate_distance, disc_edge_spread
    from projector.photometry.colour import linear_srgb_under_white, white_balance_xyz
    from projector.photometry.spectra import OBSERVER_STEPS, WAVELENGTHS_NM, source_spectrum

    weights = (
        linear_srgb_under_white(white_balance_xyz(5600.0))
        @ (OBSERVER_STEPS * source_spectrum("daylight", 5600.0)[:, None]).T
    )
    weights /= weights.sum(axis=1, keepdims=True)
    tube = conjugate_distance(FOCAL_LENGTH_M, THROW_M) + 1e-3 * offset_mm
    defocus = abbe_relative_power(ABBE, WAVELENGTHS_NM) / FOCAL_LENGTH_M - 1.0 / tube - 1.0 / THROW_M
    discs = 1e3 / MM_PER_PIXEL * FOCAL_LENGTH_M / F_NUMBER * THROW_M * np.abs(defocus)
    rows, columns = np.indices((height, width))
    angle = np.radians(5.0)
    distance = (columns - 0.5 * (width - 1)) * np.cos(angle) - (rows - 0.5 * (height - 1)) * np.sin(angle)
    grid, shares = np.linspace(distance.min(), distance.max(), 20001), np.linspace(-0.5, 0.5, 2001)
    law = np.array([disc_edge_spread(share) for share in shares])
    rises = np.stack([np.interp(grid / max(disc, 1e-3), shares, law) for disc in discs])
    rise = np.stack([np.interp(distance, grid, channel @ rises) for channel in weights], axis=2)
    return 0.02 + 0.6 * rise + np.random.default_rng(seed).normal(0.0, 0.005, rise.shape)


def write_photographs(folder: Path) -> list[str]:
    """Files and offsets in turn, as the timed code takes them."""
    from PIL import Image

    from projector.photometry.colour import encode_srgb

    arguments = []
    for index, offset in enumerate(OFFSETS):
        path = folder / f"edge{index}.png"
        coded = encode_srgb(np.clip(photograph(offset, 1200, 900, index), 0.0, 1.0))
        Image.fromarray(np.round(255 * coded).astype(np.uint8)).save(path)
        arguments += [str(path), str(offset)]
    return arguments


def timed(tree: Path, arguments: list[str]) -> list:
    """Seconds of processor time of a fresh process of that tree, pupil and dispersion as found."""
    environment = {**os.environ, "PYTHONPATH": str(tree), "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", TIMED, *arguments], check=True, capture_output=True, text=True, env=environment, cwd=tree
    )
    return json.loads(done.stdout)


def main() -> None:
    """Measure as the command line says."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--against", metavar="COMMIT")
    parser.add_argument("--repeats", type=int, default=3)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        trees = {"here": ROOT}
        if options.against:
            other = Path(folder) / "other"
            other.mkdir()
            archive = subprocess.run(
                ["git", "archive", options.against], check=True, capture_output=True, cwd=ROOT
            ).stdout
            subprocess.run(["tar", "x", "-C", str(other)], check=True, input=archive)
            trees[options.against] = other
        arguments = write_photographs(Path(folder))
        found = {name: [] for name in trees}
        for _ in range(options.repeats):
            for name, tree in trees.items():
                found[name].append(timed(tree, arguments))
        medians = {name: statistics.median(seconds for seconds, _, _ in runs) for name, runs in found.items()}
        for name, runs in found.items():
            print(
                f"{name:12} {medians[name]:6.2f} s (median of {len(runs)}); pupil {runs[-1][1]} mm, Abbe number"
                f" {runs[-1][2]}"
            )
        if options.against:
            print(f"ratio, here to {options.against}: {medians['here'] / medians[options.against]:.2f}")


if __name__ == "__main__":
    main()
