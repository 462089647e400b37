"""The pictures of a sheet rendered by a Dask cluster: rows go out by the scheduler's address, cells come back as they
are done.

All of the network is Dask's (dask.distributed, the `cluster` extra). A worker needs this package in the same version,
and the scene's own stencils, meshes and lens files under the same paths: a shared folder.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable
from dataclasses import replace

from projector.faults import Fault, SceneError
from projector.files.records import record_of
from projector.studies.choosing.sheet_cells import rendered_cells

SECONDS_TO_CONNECT = 8.0
_LOOK_AGAIN_S = 0.1


def render_on_cluster(
    scheduler: str, rows: list, width: int, height: int, quality: str, finished: Callable, tell: Callable[[], None]
) -> None:
    """Render rows of sheet_cells.CellToRender on a cluster's workers.

    finished(cell, item) is called here for every cell that arrives; tell() again and again, and what it raises (a wish
    to stop) cancels what is still to be done. SceneError for a scheduler that cannot be reached, that has no workers or
    others' versions, and for files that a worker does not find.
    """
    client = _client(scheduler)
    try:
        _check_workers(client, scheduler)
        _collect(client, rows, width, height, quality, finished, tell)
    finally:
        client.close()


def _fault(scheduler: str, found: str, allowed: str, try_: str) -> SceneError:
    return SceneError(Fault(found=found, allowed=allowed, try_=try_, key="scheduler"))


def _client(scheduler: str):
    """A connected client."""
    if not re.fullmatch(r"(tcp|tls|ws|wss|ucx|inproc)://\S+", scheduler):
        raise _fault(
            scheduler,
            f'"{scheduler}" is not the address of a scheduler',
            "tcp://host:port",
            "the address that `dask scheduler` prints: tcp://192.168.1.20:8786",
        )
    try:
        from dask.distributed import Client
    except ImportError:
        raise _fault(
            scheduler, "Dask is not installed", "the cluster extra", "pip install 'projector[cluster]'"
        ) from None
    try:
        return Client(scheduler, timeout=SECONDS_TO_CONNECT, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        reason = str(error).splitlines()[0] if str(error) else type(error).__name__
        raise _fault(
            scheduler,
            f"no scheduler answers at {scheduler} ({reason})",
            "a running Dask scheduler",
            "start one with `dask scheduler`, and workers with `dask worker ADDRESS`",
        ) from None


def version_here() -> str:
    """The version of this package, asked on every worker."""

    return record_of("sheet", "", "")["version"]


def _check_workers(client, scheduler: str) -> None:
    """SceneError unless there are workers that render as this machine would."""
    if not client.scheduler_info(n_workers=-1)["workers"]:
        raise _fault(
            scheduler,
            f"the scheduler at {scheduler} has no workers",
            "one or more",
            "start some with `dask worker ADDRESS`",
        )
    here = version_here()
    try:
        there = client.run(version_here)
    except ModuleNotFoundError as error:
        raise _fault(
            scheduler,
            f"a worker cannot load what it needs ({error})",
            f"projector {here} on every worker",
            "install it in the workers' environment",
        ) from None
    others = {worker: version for worker, version in there.items() if version != here}
    if others:
        named = ", ".join(f"{worker}: {version}" for worker, version in sorted(others.items()))
        raise _fault(
            scheduler,
            f"workers of another version ({named})",
            f"projector {here}, as here",
            "install the same version everywhere",
        )


def render_row(row: list, width: int, height: int, quality: str) -> list:
    """What a worker does: the cells of one row in one session."""

    return list(rendered_cells(row, width, height, quality))


def _collect(client, rows, width, height, quality, finished, tell) -> None:
    from dask.distributed import as_completed

    futures = [client.submit(render_row, row, width, height, quality, pure=False) for row in rows]
    row_of = {future.key: row for future, row in zip(futures, rows, strict=True)}
    with client.as_current():
        arriving = as_completed(futures, raise_errors=False)
    try:
        while row_of:
            tell()
            for future in arriving.next_batch(block=False):
                for cell, item in zip(_result(future), row_of.pop(future.key), strict=True):
                    finished(cell, item)
            time.sleep(_LOOK_AGAIN_S)
        tell()
    finally:
        client.cancel([future for future in futures if not future.done()], force=True)


def _result(future) -> list:
    """A row's cells; a photographer's fault on a worker is one here, with a word on where."""
    try:
        return future.result()
    except SceneError as error:
        hint = "a folder that every worker sees under the same path"
        raise SceneError(
            [
                replace(
                    fault, found=f"on a worker: {fault.found}", try_=f"{fault.try_}; {hint}" if fault.try_ else hint
                )
                for fault in error.faults
            ]
        ) from None
