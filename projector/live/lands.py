"""What lands of a light, asked part by part: the quick ones first, so that each is shown as soon as it is known."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from projector.answers.at_a_glance import (
    Glance,
    fringe_glance,
    landing_glances,
    meter_glances,
    no_edges_glance,
    sharpness_glance,
)
from projector.faults import SceneError
from projector.stage.stage import Stage

# The parts in the order in which they are asked, and how each is called on the page.
Part = tuple[str, Callable[[], list[Glance]]]


def parts_of(stage: Stage, light: str | None) -> Iterator[Part]:
    """What there is to say of a light where its pattern lands: name, and what finds it out.

    light: the one looked at; None: the first projector.
    """
    from projector.studies.light.light_at import light_at, usual_point

    scene = stage.scene
    projectors, others = [spec.name for spec in scene.projector], {spec.name: spec for spec in scene.light}
    name = light if light is not None or not projectors else projectors[0]
    if name in projectors:
        point = usual_point(stage, name)
        arrives = light_at(stage, name, point)
        yield "size", lambda: _size(stage, name)
        yield "edge", lambda: _edge(stage, name, point, arrives)
        has_colours = scene.projector[name].lens is not None and arrives.has_edges
        yield "fringe", (lambda: _fringe(stage, name, point, arrives)) if has_colours else list
        yield "light", lambda: _light(stage, point)
        return
    spec = others.get(name or "") or next(iter(others.values()), None)
    yield from (("size", list), ("edge", list), ("fringe", list))
    yield "light", (lambda: _light(stage, spec.aim)) if spec is not None else list


def _size(stage: Stage, name: str) -> list[Glance]:
    from projector.studies.size.landed_light import landed_opening
    from projector.studies.size.landing import landing

    found = landing(stage, name)
    opened = landed_opening(stage, stage.projector(name), found.throw_m)
    return landing_glances(found, opened, stage.scene.camera.f_number)


def _edge(stage: Stage, name: str, point, arrives) -> list[Glance]:
    from projector.studies.edges.sharpness import sharpness

    if not arrives.has_edges:
        return [no_edges_glance(arrives)]
    return [sharpness_glance(sharpness(stage, name, point, arrives=arrives), arrives)]


def _fringe(stage: Stage, name: str, point, arrives) -> list[Glance]:
    from projector.studies.edges.fringe import fringe

    return [fringe_glance(fringe(stage, name, point, arrives=arrives))]


def _light(stage: Stage, point) -> list[Glance]:
    from projector.studies.light.meter import meter

    try:
        return meter_glances(meter(stage, point))
    except SceneError as error:
        return [Glance("light", "not metered", error.faults[0].found, True)]
