"""A sheet on a Dask cluster of two worker processes: the same pictures, kept and gone on with, and its faults in plain
words.
"""

from __future__ import annotations

import pickle
import time

import numpy as np
import pytest

from projector.faults import Fault, SceneError
from projector.files.finding import shipped_folder
from projector.rendering.workers import Progress, Stopped
from projector.scene.reading.reader import load
from projector.studies.choosing import comparison as study
from projector.studies.choosing.cluster import render_on_cluster

ROWS = study.Axis("projector.window.focus.offset_mm", ("-1", "0", "2"))
COLUMNS = study.Axis("projector.window.lens.f_number", ("2.8", "5.6"))
SIZE = (64, 48)


@pytest.fixture(scope="module")
def scene():
    return load(shipped_folder("scene") / "01-square-wall.toml")


@pytest.fixture(scope="module")
def cluster():
    """Two worker processes of one thread each, without a status page."""
    from dask.distributed import LocalCluster

    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as started:
        yield started


@pytest.mark.slow
def test_the_clusters_pictures_are_those_of_this_machine(scene, cluster):
    here = study.comparison(scene, ROWS, COLUMNS, *SIZE)
    there = study.comparison(scene, ROWS, COLUMNS, *SIZE, scheduler=cluster.scheduler_address)
    assert [(cell.row, cell.column, cell.row_value, cell.column_value) for cell in there] == [
        (cell.row, cell.column, cell.row_value, cell.column_value) for cell in here
    ]
    assert all(
        np.array_equal(mine.pixels, theirs.pixels) and mine.landings == theirs.landings
        for mine, theirs in zip(here, there, strict=True)
    )


@pytest.mark.slow
def test_both_workers_take_part(scene, cluster):
    from dask.distributed import Client

    study.comparison(scene, ROWS, COLUMNS, *SIZE, scheduler=cluster.scheduler_address)
    with Client(cluster.scheduler_address, set_as_default=False) as client:
        counts = client.run(lambda dask_worker: dask_worker.state.executed_count)
    assert len(counts) == 2
    assert all(count > 0 for count in counts.values())


@pytest.mark.slow
def test_finished_cells_are_kept_and_not_sent_out_again(scene, cluster, tmp_path, monkeypatch):
    folder = tmp_path / "cells"
    study.comparison(scene, study.Axis(ROWS.key, ("-1",)), COLUMNS, *SIZE, folder=folder)
    sent = []
    original = render_on_cluster
    monkeypatch.setattr(
        "projector.studies.choosing.comparison.render_on_cluster",
        lambda scheduler, rows, *rest: (
            sent.extend(item.row_value for row in rows for item in row) or original(scheduler, rows, *rest)
        ),
    )
    cells = study.comparison(scene, ROWS, COLUMNS, *SIZE, folder=folder, scheduler=cluster.scheduler_address)
    assert sent == ["0", "0", "2", "2"]
    assert len(cells) == 6 and len(list(folder.glob("*.png"))) == 6


@pytest.mark.slow
def test_a_wish_to_stop_cancels_what_is_left(scene, cluster, tmp_path):
    progress = Progress()
    progress.report = lambda name, done, total: progress.stop() if done >= 1 else None
    many = study.Axis(ROWS.key, tuple(str(0.1 * step) for step in range(12)))
    with pytest.raises(Stopped):
        study.comparison(
            scene,
            many,
            COLUMNS,
            *SIZE,
            folder=tmp_path / "cells",
            progress=progress,
            scheduler=cluster.scheduler_address,
        )
    assert 1 <= len(list((tmp_path / "cells").glob("*.png"))) < 24


@pytest.mark.slow
def test_a_file_that_a_worker_does_not_find_is_named(cluster, studio, monkeypatch):
    """The workers see the same disk here: the stencil is taken away between the check and the work."""
    name = studio.half_plane(64)
    scene = studio.scene({"stencil": {"file": name, "width_mm": 36.0}})
    columns = study.Axis("projector.window.lens.f_number", ("2.8", "4"))
    items = [study.CellToRender(0, 0, "0", "2.8", study.changed_scene(scene, ROWS, columns, 0, 0))]
    (studio.folder / name).unlink()
    with pytest.raises(SceneError) as caught:
        render_on_cluster(cluster.scheduler_address, [items], *SIZE, "quick", lambda *_: None, lambda: None)
    assert "on a worker:" in str(caught.value) and name in str(caught.value)
    assert "every worker sees" in str(caught.value)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("tcp://127.0.0.1:9", "no scheduler answers at tcp://127.0.0.1:9"),
        ("my machine", "is not the address of a scheduler"),
    ],
)
def test_a_scheduler_that_is_not_there_is_one_clear_line(scene, address, words):
    start = time.monotonic()
    with pytest.raises(SceneError, match=words) as caught:
        study.comparison(scene, ROWS, COLUMNS, *SIZE, scheduler=address)
    assert len(caught.value.faults) == 1
    assert time.monotonic() - start < 20.0


@pytest.mark.slow
def test_a_worker_of_another_version_is_refused(scene, cluster, monkeypatch):
    """Here this machine is made to say another version; the workers, processes of their own, still say theirs."""
    monkeypatch.setattr("projector.studies.choosing.cluster.record_of", lambda *rest, **more: {"version": "9.9"})
    with pytest.raises(SceneError, match=r"workers of another version \(tcp://"):
        render_on_cluster(cluster.scheduler_address, [], *SIZE, "quick", lambda *_: None, lambda: None)


def test_faults_survive_the_way_between_processes():
    error = pickle.loads(pickle.dumps(SceneError([Fault("one", "a", "b", "f", 3, "k"), Fault("two")])))
    assert error.faults == [Fault("one", "a", "b", "f", 3, "k"), Fault("two")]
