"""The two marks that a function can carry here, and the folder where compiled kernels are kept.

`formula`  plain Python, also callable from kernels: reports, tests and kernels share one text of each law.
`kernel`   a compiled entry: arrays and numbers in, arrays and numbers out; releases the GIL, never raises, never
           speaks.
`building_kernel`  the same, but it may allocate.

Compiled kernels are kept between runs. numba does not notice an edit in a module that a kernel calls into, so the
folder is named by a hash of every source file that kernels may be made of and of numba's version. Importing this module
touches no file and no setting of numba's: the folder is chosen when the first kernel is called for.
"""

from __future__ import annotations

import functools
import hashlib
import os
import shutil
import tempfile
import warnings
from pathlib import Path

import numba
from numba.core import caching
from numba.extending import register_jitable

PACKAGE_FOLDER = Path(__file__).resolve().parent
CACHE_VARIABLE = "PROJECTOR_CACHE"
N_KERNEL_FOLDERS_KEPT = 3
# What kernels are made of. An edit elsewhere costs nobody a wait for the compiler.
KERNEL_SOURCES = ("geometry.py", "jit.py", "optics/", "photometry/", "rendering/develop.py", "tracing/")
# Tested with these; private doors of numba are used (`_nrt`, its cache, cgutils), so a newer one is not taken on trust.
_OLDEST_NUMBA, _FIRST_UNTESTED_NUMBA = (0, 61), (0, 69)


class UntestedNumba(ImportError):
    """The installed numba is one that this package was never tested with."""


def _check_numba(version: str) -> None:
    """Raise UntestedNumba with a sentence unless a version of numba is among the tested ones."""
    numbers = tuple(int(part) for part in version.split(".")[:2])
    if not _OLDEST_NUMBA <= numbers < _FIRST_UNTESTED_NUMBA:
        wanted = f"numba>={'.'.join(map(str, _OLDEST_NUMBA))},<{'.'.join(map(str, _FIRST_UNTESTED_NUMBA))}"
        raise UntestedNumba(
            f"numba {version} is installed, and projector was not tested with it: pip install '{wanted}'"
        )


_check_numba(numba.__version__)


def sources_digest() -> str:
    """Short hash of the sources that kernels are made of and of numba's version; any edit in them gives another one."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(PACKAGE_FOLDER.rglob("*.py")):
        name = path.relative_to(PACKAGE_FOLDER).as_posix()
        if not name.startswith(KERNEL_SOURCES):
            continue
        digest.update(name.encode())
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
        warnings.warn(
            f"{CACHE_VARIABLE} = {wanted} cannot be written; the user's cache folder is used instead.", stacklevel=2
        )
    import platformdirs

    folder = Path(platformdirs.user_cache_dir("projector"))
    if _is_writable(folder):
        return folder
    folder = Path(tempfile.mkdtemp(prefix="projector-cache-"))
    warnings.warn(
        f"no writable cache folder; kernels go to {folder} and are compiled again next time. Set {CACHE_VARIABLE} to a"
        " folder of yours.",
        stacklevel=2,
    )
    return folder


@functools.cache
def cache_folder() -> Path:
    """`choose_cache_folder`, once for this process."""
    return choose_cache_folder()


@functools.cache
def kernel_folder() -> Path:
    """The folder of this version's compiled kernels, made if need be. All but the last few versions' are dropped."""
    chosen = cache_folder() / "kernels" / sources_digest()
    chosen.mkdir(parents=True, exist_ok=True)
    os.utime(chosen)
    by_age = sorted(chosen.parent.iterdir(), key=lambda path: path.stat().st_mtime, reverse=True)
    for old in by_age[N_KERNEL_FOLDERS_KEPT:]:
        shutil.rmtree(old, ignore_errors=True)
    return chosen


def kernels_are_compiled() -> bool:
    """Whether a run of this version has left compiled kernels; if not, the first run has to wait for the compiler."""
    return any(kernel_folder().rglob("*.nbc"))


class _Place(caching._SourceFileBackedLocatorMixin, caching._CacheLocator):
    """Where one function's compiled code lies: in our folder, whatever numba's own settings say."""

    def __init__(self, function, file):
        self._py_file = file
        self._lineno = function.__code__.co_firstlineno
        self._folder = str(kernel_folder() / self.get_suitable_cache_subpath(file))

    def get_cache_path(self):
        return self._folder


class _Storage(caching.CompileResultCacheImpl):
    _locator_classes = (_Place,)


class _FunctionCache(caching.FunctionCache):
    _impl_class = _Storage


class _KernelCache(caching._Cache):
    """numba's cache of one kernel, opened when the kernel is first wanted, so that importing it touches no file."""

    def __init__(self, function):
        self._function = function

    @functools.cached_property
    def _opened(self) -> caching.FunctionCache:
        return _FunctionCache(self._function)

    @property
    def cache_path(self):
        return self._opened.cache_path

    def load_overload(self, sig, target_context):
        return self._opened.load_overload(sig, target_context)

    def save_overload(self, sig, data):
        self._opened.save_overload(sig, data)

    def enable(self):
        self._opened.enable()

    def disable(self):
        self._opened.disable()

    def flush(self):
        self._opened.flush()


def _compiled(function, **options):
    dispatcher = numba.njit(nogil=True, error_model="numpy", **options)(function)
    dispatcher._cache = _KernelCache(function)
    return dispatcher


def kernel(function):
    """Mark a compiled entry that owns no memory: without reference counts an argument costs nothing to hand on.

    With them the look-ups of a picture take six times as long. What has to allocate is a `building_kernel`.
    """
    return _compiled(function, _nrt=False)


def building_kernel(function):
    """Mark a compiled entry that may allocate."""
    return _compiled(function)


formula = register_jitable(forceinline=True, _nrt=False)
