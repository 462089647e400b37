"""A stage: what is made of a scene is made once, whoever asks first, and its projectors are found by name."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from projector.faults import SceneError
from projector.rendering.maps.irradiance import irradiance_map
from projector.reports.map_figure import map_figure
from projector.stage import stage as module
from projector.stage.stage import Stage, projector_on, stage_of
from projector.studies.size.landing import landing

FILL = {"name": "fill", "position_m": [0.6, 1.5, 2.0]}


def test_threads_that_ask_at_once_get_one_tree(studio, monkeypatch):
    made = []

    def slow(scene):
        time.sleep(0.05)
        made.append(scene)
        return object()

    monkeypatch.setattr(module, "scene_arrays", slow)
    stage = Stage(studio.scene())
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda _: stage.arrays, range(4)))
    assert len(made) == 1 and len({id(item) for item in found}) == 1


def test_projectors_are_found_by_name_and_variants_stand_beside_them(studio):
    scene = studio.scene(more_projectors=[FILL])
    stage = Stage(scene)
    own = stage.projector("fill")
    assert own.spec is scene.projector[1] and stage.projector(own) is own
    # Asked again, what was made of it is at hand; of a variant it is made anew.
    assert stage.projector("fill").light([550.0]) is own.light([550.0])
    turned = own.varied(roll_deg=90.0)
    assert turned.stage is stage and turned.light([550.0]) is not own.light([550.0])
    across = np.dot(turned.light([550.0]).emitter.right, own.light([550.0]).emitter.down)
    assert abs(across) == pytest.approx(1.0)
    with pytest.raises(SceneError, match="fil"):
        stage.projector("fil")
    with pytest.raises(SceneError, match="2 projectors, and none is named"):
        stage.projector()
    assert Stage(studio.scene()).projector().name == "window"


def test_studies_take_a_scene_or_a_stage_and_a_name_or_a_projector(studio):
    scene = studio.scene(more_projectors=[FILL])
    stage = stage_of(scene)
    assert stage_of(stage) is stage and projector_on(stage, "fill").stage is stage
    answers = [landing(scene, "fill"), landing(stage, "fill"), landing(stage, scene.projector[1])]
    assert answers[0] == answers[1] == answers[2]


def test_a_map_without_a_reading_is_not_called_a_flash(studio):
    """Nothing says how bright the light is, so nothing says that it flashes."""
    found = irradiance_map(studio.scene({"reading": None}), n_across=32)
    assert not found.is_absolute and not found.is_flash
    said = " ".join(
        text.get_text() for text in map_figure(found, "a wall").findobj(match=lambda item: hasattr(item, "get_text"))
    )
    assert "light, in stops" in said and "flash" not in said and "illuminance" not in said
