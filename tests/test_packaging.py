"""The installed wheel works in a foreign folder, finds its scenes, and minds where it may write."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
COMMAND = "import sys; from projector.cli import main; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """A folder with the package as its wheel installs it."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", str(folder), str(ROOT)],
        check=True,
        capture_output=True,
        timeout=300,
    )
    wheel = next(folder.glob("*.whl"))
    target = folder / "installed"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(target)
    return target


def run(installed, folder, *arguments, **environment):
    return subprocess.run(
        [sys.executable, "-c", COMMAND, *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=600,
        env={**os.environ, "PYTHONPATH": str(installed), **environment},
    )


def test_the_wheel_holds_scenes_lenses_and_stencils_and_no_pictures(installed):
    shipped = installed / "projector" / "_shipped"
    assert len(list((shipped / "scenes").glob("0*.toml"))) >= 6
    assert list((shipped / "scenes" / "lenses").glob("*.toml"))
    assert len(list((shipped / "stencils").glob("*.png"))) >= 12
    assert not (shipped / "scenes" / "pictures").exists()
    assert not (installed / "tests").exists()


def test_the_installed_command_renders_a_shipped_scene_in_a_foreign_folder(installed, tmp_path):
    done = run(installed, tmp_path, "preview", "01-square-wall", "--size", "64x48", "--quality", "quick")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "01-square-wall.png").is_file()
    where = subprocess.run(
        [sys.executable, "-c", "import projector; print(projector.__file__)"],
        cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(installed)}, timeout=60,
    )  # fmt: skip
    assert where.stdout.startswith(str(installed))


def test_a_cache_that_cannot_be_written_is_said_once_and_survived(installed, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    done = run(
        installed, tmp_path, "scenes", PROJECTOR_CACHE=str(blocked / "below"), HOME=str(blocked), XDG_CACHE_HOME=str(blocked / "cache"), NUMBA_CACHE_DIR=str(blocked / "numba")
    )
    assert done.returncode == 0, done.stderr
    script = "import warnings; warnings.simplefilter('always')\nimport projector.jit as jit\nprint(jit.cache_folder)"
    found = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(installed), "PROJECTOR_CACHE": str(blocked / "below"), "HOME": str(blocked), "XDG_CACHE_HOME": str(blocked / "cache"), "NUMBA_CACHE_DIR": str(blocked / "numba")},
    )
    assert found.returncode == 0, found.stderr
    assert "projector-cache-" in found.stdout
    assert "no writable cache folder" in found.stderr


def test_an_edit_in_a_module_that_kernels_are_made_of_gets_a_cache_folder_of_its_own(installed, tmp_path):
    script = "import projector.jit as jit; print(jit.kernel_folder)"
    environment = {**os.environ, "PYTHONPATH": str(installed), "PROJECTOR_CACHE": str(tmp_path / "cache")}
    folders = []
    for edit in ("", "\n# another word\n"):
        with (installed / "projector" / "optics" / "thin_lens.py").open("a") as file:
            file.write(edit)
        done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=120)
        folders.append(done.stdout)
    assert folders[0] != folders[1]
