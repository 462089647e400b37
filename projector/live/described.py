"""What a page has to know of a desk to draw it: its form once, and its values after each change."""

from __future__ import annotations

from dataclasses import asdict
from functools import lru_cache

import numpy as np

from projector.faults import Fault, SceneError
from projector.files.finding import shipped_folder
from projector.live.desk import Desk
from projector.live.fields import STATIONS, Field, fields_of
from projector.live.levels import level_of, stops_between_states
from projector.optics import thin_lens
from projector.scene.model import Filter, Scene, Source
from projector.scene.placement import landmarks_of
from projector.stage.stage import AMBIENT, Stage, StagedProjector
from projector.studies.light.filters import filter_list

_MM = 1e-3


def form_of(desk: Desk) -> dict | None:
    """All fields of the scene with their meanings and limits, in the order of the light's way; None without a scene."""
    if desk.scene is None:
        return None
    fields = fields_of(desk.scene, desk.said)
    return {
        "stations": STATIONS,
        "lights": [*_lights(desk.scene)],
        "fields": [_shown(field) for field in fields],
        "landmarks": sorted(landmarks_of(desk.scene)),
        "filters": _filters(),
        "stencils": sorted(path.stem for path in shipped_folder("stencil").glob("*.png")),
    }


@lru_cache(maxsize=1)
def _filters() -> list[dict]:
    """The filters that have a name, before a flash: what each costs and how white paper looks in it."""
    found = filter_list(Source()).filters
    return [{"name": item.name, "stops": item.stops, "swatch": item.swatch, "kind": item.kind} for item in found]


def _shown(field: Field) -> dict:
    return {key: value for key, value in asdict(field).items() if key != "value"}


def _lights(scene: Scene) -> list[dict]:
    return [
        *({"name": spec.name, "owner": f"projector.{spec.name}", "kind": "projector"} for spec in scene.projector),
        *({"name": spec.name, "owner": f"light.{spec.name}", "kind": spec.kind} for spec in scene.light),
        *([{"name": AMBIENT, "owner": AMBIENT, "kind": "room"}] if scene.ambient is not None else []),
    ]


def values_of(desk: Desk) -> dict:
    """Every value as it is now and as the file has it, the history, what is kept, and the faults."""
    now = {} if desk.scene is None else {field.key: field.value for field in fields_of(desk.scene, desk.said)}
    of_file = {} if desk.of_file is None else {item.key: item.value for item in fields_of(desk.of_file, desk.said)}
    return {
        "file": desk.source.name,
        "title": "" if desk.scene is None else desk.scene.title,
        "values": now,
        "of_file": {key: value for key, value in of_file.items() if now.get(key) != value},
        "changed": list(desk.changes),
        "history": [step.words for step in desk.steps],
        "at": desk.at,
        "kept": list(desk.kept),
        "state": desk.state(),
        "faults": [fault_shown(fault) for fault in desk.faults],
        "typed": dict(desk.changes),
        "off": sorted(_off(desk)),
        "alone": desk.lit.alone,
        "power": {} if desk.scene is None else _powers(desk),
        "focus": {} if desk.scene is None else _focuses(desk.scene),
    }


def fault_shown(fault: Fault) -> dict:
    """A fault as the page says it, beside the field that it is about."""
    return {key: value for key, value in fault.as_dict().items() if value not in (None, "")}


def _off(desk: Desk) -> set[str]:
    lights = () if desk.scene is None else desk.scene.light
    return desk.lit.off | {spec.name for spec in lights if not spec.on}


def _powers(desk: Desk) -> dict:
    """Of each light that states its power in numbers: stops against the file."""
    of_file = desk.of_file or desk.scene
    assert of_file is not None and desk.scene is not None
    found = {}
    for kind in ("projector", "light"):
        before = {spec.name: spec for spec in getattr(of_file, kind)}
        for spec in getattr(desk.scene, kind):
            stops = stops_between_states(before.get(spec.name, spec), spec)
            if stops is not None:
                found[spec.name] = round(stops, 6)
    return found


def _focuses(scene: Scene) -> dict:
    """Of each lens where it is sharp (m on its axis, None: nowhere), and how far off the landmarks lie before it."""
    stage, marks = Stage(scene), landmarks_of(scene)
    found = {}
    for staged in stage.projectors:
        if staged.spec.lens is None:
            continue
        emitter = staged.open_light([587.6]).emitter
        axis, origin = np.array(emitter.forward), np.array(emitter.position)
        ways = {name: float((np.asarray(point) - origin) @ axis) for name, point in marks.items()}
        found[staged.name] = {
            "sharp_m": sharp_distance(staged),
            "marks": sorted(
                ((name, round(way, 4)) for name, way in ways.items() if way > 0.1), key=lambda item: item[1]
            ),
            "nearest_m": staged.spec.lens.nearest_focus_m,
        }
    return found


def sharp_distance(staged: StagedProjector) -> float | None:
    """Where a projector's lens is sharp with its offset, m; None past infinity."""
    focal = staged.spec.lens.focal_length_mm * _MM
    tube = staged.focus.tube_length
    return float(thin_lens.conjugate_distance(focal, tube)) if tube > focal * (1.0 + 1e-9) else None


def change_for_focus(scene: Scene, light: str, metres: float) -> dict[str, float]:
    """The change that makes a projector's lens sharp at a distance (m): the stencil moved, as a ring moves it."""
    staged = Stage(scene).projector(light)
    focal = staged.spec.lens.focal_length_mm * _MM
    tube = float(thin_lens.conjugate_distance(focal, max(metres, 1.001 * focal)))
    offset = (tube - staged.focus.sharp_tube_length) / _MM
    return {f"projector.{light}.focus.offset_mm": round(offset, 5) + 0.0}


def change_for_filters(desk: Desk, light: str, names: list[str]) -> dict[str, list]:
    """The change that puts filters by their names before a light. SceneError for a light that is not there."""
    for kind in ("projector", "light"):
        if desk.scene is not None and light in [spec.name for spec in getattr(desk.scene, kind)]:
            return {f"{kind}.{light}.filter": [Filter(name=name) for name in names]}
    raise SceneError(Fault(f'there is no light "{light}"'))


def change_for_power(desk: Desk, light: str, stops: float) -> dict[str, float] | None:
    """The change that gives a light so many stops more than its file; None where its power is not stated in numbers."""
    scene = desk.of_file or desk.scene
    for kind in ("projector", "light"):
        for spec in getattr(scene, kind):
            level = level_of(spec) if spec.name == light else None
            if level is not None:
                return {f"{kind}.{light}.{level.key}": level.at(stops)}
    return None
