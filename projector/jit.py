"""The two marks that a function can carry here, and the folder where compiled kernels are kept.

`formula`  plain Python, also callable from kernels: reports, tests and kernels share one text of each law.
`kernel`   a compiled entry: arrays and numbers in, arrays and numbers out; releases the GIL, never raises, never speaks.
`building_kernel`  the same, but it may allocate.

Compiled kernels are kept between runs. numba does not notice an edit in a module that a kernel calls into, so the
folder is named by a hash of every source file that kernels may be made of and of numba's version.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
import warnings
from pathlib import Path

import numba
from numba.extending import register_jitable

PACKAGE_FOLDER = Path(__file__).resolve().parent
CACHE_VARIABLE = "PROJECTOR_CACHE"
N_KERNEL_FOLDERS_KEPT = 3
# An edit here costs nobody a wait for the compiler.
ROOMS_WITHOUT_KERNELS = ("scene", "studies", "verification", "reports", "cli", "live")


def sources_digest() -> str:
    """Short hash of the sources that kernels are made of and of numba's version; any edit in them gives another one."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(PACKAGE_FOLDER.rglob("*.py")):
        if path.relative_to(PACKAGE_FOLDER).parts[0] in ROOMS_WITHOUT_KERNELS:
            continue
        digest.update(path.relative_to(PACKAGE_FOLDER).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _is_writable(folder: Path) -> bool:
    """Whether a file can really be made in the folder (permission bits alone mislead on network disks and for root)."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def choose_cache_folder() -> Path:
    """The folder for everything that is built once and loaded afterwards.

    `PROJECTOR_CACHE` if set and writable, else the user's cache folder, else a temporary one with a warning.
    """
    wanted = os.environ.get(CACHE_VARIABLE)
    if wanted:
        folder = Path(wanted).expanduser().resolve()
        if _is_writable(folder):
            return folder
        warnings.warn(f"{CACHE_VARIABLE} = {wanted} cannot be written; the user's cache folder is used instead.", stacklevel=2)
    import platformdirs

    folder = Path(platformdirs.user_cache_dir("projector"))
    if _is_writable(folder):
        return folder
    folder = Path(tempfile.mkdtemp(prefix="projector-cache-"))
    warnings.warn(
        f"no writable cache folder; kernels go to {folder} and are compiled again next time. Set {CACHE_VARIABLE} to a folder of yours.",
        stacklevel=2,
    )
    return folder


def _prepare_kernel_folder(folder: Path) -> Path:
    """Make this version's folder the newest and drop all but the last few, so that the cache does not grow for ever."""
    chosen = folder / "kernels" / sources_digest()
    chosen.mkdir(parents=True, exist_ok=True)
    os.utime(chosen)
    by_age = sorted(chosen.parent.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for old in by_age[N_KERNEL_FOLDERS_KEPT:]:
        shutil.rmtree(old, ignore_errors=True)
    return chosen


cache_folder = choose_cache_folder()
kernel_folder = _prepare_kernel_folder(cache_folder)
# numba's own variable is overruled on purpose: with a folder of its choosing, an edit in another module goes unseen.
numba.config.CACHE_DIR = str(kernel_folder)


def kernels_are_compiled() -> bool:
    """Whether a run of this version has left compiled kernels; if not, the first run has to wait for the compiler."""
    return any(kernel_folder.rglob("*.nbc"))


# `_nrt=False`: a kernel owns no memory, and without reference counts an argument costs nothing to hand on. With them the
# look-ups of a picture take six times as long. What has to allocate is marked `building_kernel`.
formula = register_jitable(forceinline=True, _nrt=False)
kernel = numba.njit(cache=True, nogil=True, error_model="numpy", _nrt=False)
building_kernel = numba.njit(cache=True, nogil=True, error_model="numpy")
