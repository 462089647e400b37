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
    assert list((shipped / "scenes" / "filters").glob("*.csv"))
    assert list((shipped / "scenes" / "gear").glob("*.toml"))
    assert len(list((shipped / "stencils").glob("*.png"))) >= 12
    assert not (shipped / "scenes" / "pictures").exists()
    assert not (installed / "tests").exists()


@pytest.mark.slow
def test_the_installed_command_renders_a_shipped_scene_in_a_foreign_folder(installed, tmp_path):
    done = run(installed, tmp_path, "preview", "01-square-wall", "--size", "64x48", "--quality", "quick")
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "01-square-wall.png").is_file()
    where = subprocess.run(
        [sys.executable, "-c", "import projector; print(projector.__file__)"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(installed)},
        timeout=60,
    )
    assert where.stdout.startswith(str(installed))


def test_a_cache_that_cannot_be_written_is_said_once_and_survived(installed, tmp_path):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    done = run(
        installed,
        tmp_path,
        "scenes",
        PROJECTOR_CACHE=str(blocked / "below"),
        HOME=str(blocked),
        XDG_CACHE_HOME=str(blocked / "cache"),
        NUMBA_CACHE_DIR=str(blocked / "numba"),
    )
    assert done.returncode == 0, done.stderr
    script = "import warnings; warnings.simplefilter('always')\nimport projector.jit as jit\nprint(jit.cache_folder())"
    found = subprocess.run(
        [sys.executable, "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        env={
            **os.environ,
            "PYTHONPATH": str(installed),
            "PROJECTOR_CACHE": str(blocked / "below"),
            "HOME": str(blocked),
            "XDG_CACHE_HOME": str(blocked / "cache"),
            "NUMBA_CACHE_DIR": str(blocked / "numba"),
        },
    )
    assert found.returncode == 0, found.stderr
    assert "projector-cache-" in found.stdout
    assert "no writable cache folder" in found.stderr


def test_an_edit_in_a_module_that_kernels_are_made_of_gets_a_cache_folder_of_its_own(installed, tmp_path):
    script = "import projector.jit as jit; print(jit.kernel_folder())"
    environment = {**os.environ, "PYTHONPATH": str(installed), "PROJECTOR_CACHE": str(tmp_path / "cache")}
    folders = []
    for edit in ("", "\n# another word\n"):
        with (installed / "projector" / "optics" / "thin_lens.py").open("a") as file:
            file.write(edit)
        done = subprocess.run(
            [sys.executable, "-c", script], capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=120
        )
        folders.append(done.stdout)
    assert folders[0] != folders[1]


def test_importing_touches_no_file_and_nobody_elses_cache(installed, tmp_path):
    """All modules imported: no file or folder is made or lost anywhere, old kernels of ours included, and numba keeps
    other packages' kernels where it kept them before. What matplotlib writes for itself goes elsewhere here.
    """
    home, temporary, elsewhere = (tmp_path / name for name in ("home", "temporary", "matplotlib"))
    for folder in (home, temporary, elsewhere):
        folder.mkdir()
    for number in range(5):
        old = home / "cache" / "projector" / "kernels" / f"old{number}" / "bvh.nbi"
        old.parent.mkdir(parents=True)
        old.write_text("compiled long ago")

    def files():
        return sorted(path for path in tmp_path.rglob("*") if not path.is_relative_to(elsewhere))

    before = files()
    script = (
        "import importlib, pkgutil, numba, projector\n"
        "before = numba.config.CACHE_DIR\n"
        "names = [found.name for found in pkgutil.walk_packages(projector.__path__, 'projector.')]\n"
        "for name in names:\n"
        "    importlib.import_module(name)\n"
        "assert len(names) > 100, names\n"
        "assert numba.config.CACHE_DIR == before, numba.config.CACHE_DIR\n"
    )
    kept = {
        name: value
        for name, value in os.environ.items()
        if name not in ("PROJECTOR_CACHE", "NUMBA_CACHE_DIR", "MPLCONFIGDIR")
    }
    environment = {
        **kept,
        "PYTHONPATH": str(installed),
        "PYTHONDONTWRITEBYTECODE": "1",
        "HOME": str(home),
        "XDG_CACHE_HOME": str(home / "cache"),
        "TMPDIR": str(temporary),
        "MPLCONFIGDIR": str(elsewhere),
    }
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=240
    )
    assert done.returncode == 0, done.stderr
    assert files() == before


@pytest.mark.slow
def test_kernels_are_loaded_again_from_our_folder_and_others_from_theirs(tmp_path):
    """A kernel of another package, compiled in the same process, is kept where numba's own setting says."""
    other = tmp_path / "other.py"
    other.write_text("import numba\n\n@numba.njit(cache=True)\ndef twice(value):\n    return 2.0 * value\n")
    script = (
        "import numpy as np, other\n"
        "import projector.jit as jit\n"
        "from projector.tracing.rays.bvh import build_bvh\n"
        "build_bvh(np.eye(3), np.array([[0, 1, 2]], np.int32))\n"
        "assert other.twice(2.0) == 4.0\n"
        "print(jit.kernel_folder())\n"
    )
    environment = {
        **os.environ,
        "PYTHONPATH": f"{ROOT}{os.pathsep}{tmp_path}",
        "PROJECTOR_CACHE": str(tmp_path / "ours"),
        "NUMBA_CACHE_DIR": str(tmp_path / "theirs"),
    }
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=240
    )
    assert done.returncode == 0, done.stderr
    assert list((tmp_path / "theirs").rglob("other.twice*.nbi"))
    assert not list((tmp_path / "ours").rglob("other.*"))
    assert list((tmp_path / "ours").rglob("bvh*.nbi")) and not list((tmp_path / "theirs").rglob("bvh*"))


def test_a_numba_that_was_never_tested_is_refused_in_a_sentence(tmp_path):
    script = (
        "import numba\n"
        "for numba.__version__ in ('0.60.1', '0.69.0', '1.0.0rc1', '0.61.0'):\n"
        "    try:\n"
        "        import projector.jit\n"
        "    except ImportError as error:\n"
        "        print(error)\n"
        "    else:\n"
        "        print('taken')\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, env=environment, cwd=tmp_path, timeout=120
    )
    *refused, taken = done.stdout.splitlines()
    assert taken == "taken", done.stderr
    for version, said in zip(("0.60.1", "0.69.0", "1.0.0rc1"), refused, strict=True):
        assert said.startswith(f"numba {version} is installed") and said.endswith("pip install 'numba>=0.61,<0.69'")


def test_the_package_says_the_version_that_it_is_packed_under(installed):
    import projector

    (about,) = installed.glob("projector-*.dist-info/METADATA")
    assert f"\nVersion: {projector.__version__}\n" in about.read_text()
