"""What can be said of a scene's sound parts while single fields of others are wrong: its stencils' files and its
landmarks.
"""

from __future__ import annotations

from typing import Any

from projector.faults import Fault, SceneError
from projector.files.finding import find_file
from projector.scene.checks.cross import check_references
from projector.scene.checks.report import Report
from projector.scene.model import Figure
from projector.scene.reading.field_faults import Places, item_name

# Said when the parts of a scene could not be held against each other yet.
NOT_YET_ALL = "what the parts of the scene say together is checked once these are put right: more may appear then."


def early_faults(data: dict, folder, places: Places, reported: list[Fault]) -> list[Fault]:
    """Faults of plain data beside those reported of its fields: stencils that are not there, landmarks that nothing
    has.
    """
    report = Report(places)
    projectors = [(index, item) for index, item in enumerate(_tables(data, "projector")) if isinstance(item, dict)]
    for index, item in projectors:
        if item.get("lens") is None and item.get("lamp") is None:
            key = f"projector.{item_name(item, index, 'projector')}.lens"
            report.fault(("projector", index, "lens"), key, "neither a lens nor a lamp without one", "one of them")
        file = _inside(item, "stencil", "file")
        if isinstance(file, str) and file:
            key = f"projector.{item_name(item, index, 'projector')}.stencil.file"
            try:
                find_file(file, folder, "stencil")
            except SceneError as error:
                report.take(error, ("projector", index, "stencil", "file"), key)
    figures, surfaces = _tables(data, "figure"), _tables(data, "surface")
    if _can_be_named(figures) and _can_be_named(surfaces) and not any(_names_or_kinds(fault.key) for fault in reported):
        used: list[tuple[tuple, str, object]]
        used = [(("camera", name), f"camera.{name}", _inside(data, "camera", name)) for name in ("aim", "focus")]
        for index, item in projectors:
            name = item_name(item, index, "projector")
            used.append((("projector", index, "aim"), f"projector.{name}.aim", item.get("aim")))
            used.append(
                (("projector", index, "focus", "at"), f"projector.{name}.focus.at", _inside(item, "focus", "at"))
            )
        owners = [
            (item_name(item, number, "figure"), item.get("kind", _usual_kind())) for number, item in enumerate(figures)
        ]
        check_references(report, owners, [item["name"] for item in surfaces], used)
    known = {fault.key for fault in reported}
    return [fault for fault in report.faults if fault.key not in known]


def _usual_kind() -> str:
    return Figure.model_fields["kind"].default


def _tables(data: dict, kind: str) -> list:
    found = data.get(kind)
    return found if isinstance(found, list) else []


def _inside(data: dict, *keys: str):
    """A value some tables down, None where there is none."""
    here: Any = data
    for key in keys:
        here = here.get(key) if isinstance(here, dict) else None
    return here


def _can_be_named(items: list) -> bool:
    """Whether each of a list of tables says, or needs not say, what it is called."""
    return all(isinstance(item, dict) and isinstance(item.get("name", "sitter"), str) for item in items)


def _names_or_kinds(key: str | None) -> bool:
    """Whether a fault is about what landmarks are called by: a figure's or a surface's name or kind, or an unknown key
    of theirs.
    """
    parts = (key or "").split(".")
    return parts[0] in ("figure", "surface") and (
        len(parts) < 3
        or parts[-1]
        not in (
            "width_m",
            "height_m",
            "depth_m",
            "position_m",
            "yaw_deg",
            "pitch_deg",
            "tilt_deg",
            "reflectance",
            "colour",
            "shape",
        )
    )
