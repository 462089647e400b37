"""Which projector, point, size and quality a person asked for, from the words typed."""

from __future__ import annotations

from projector.files.typed_numbers import typed_number


def point_from(text: str):
    """A landmark's name, or a point (x, y, z) in metres from "x,y,z".

    SceneError for what was meant as a point and is none.
    """
    import math

    from projector.faults import Fault, SceneError

    parts = text.strip("[]() ").split(",")
    try:
        point = tuple(typed_number(part) for part in parts)
    except ValueError:
        point = ()
    if len(point) == 3 and all(map(math.isfinite, point)):
        return point
    if point or len(parts) > 1:
        raise SceneError(
            Fault(
                f'"{text}" is not a point',
                "x,y,z in metres, three numbers; or a landmark, such as sitter.left_eye",
                "--at 0.1,1.5,-0.9",
                key="--at",
            )
        )
    return text


def chosen_projectors(scene, name: str | None):
    """The projectors to answer for. SceneError for an unknown name, or a scene without any."""
    from projector.faults import Fault, SceneError

    found = [spec for spec in scene.projector if name is None or spec.name == name]
    if not found:
        known = ", ".join(spec.name for spec in scene.projector) or "none in this scene"
        raise SceneError(
            Fault(found=f'there is no projector "{name}"' if name else "the scene has no projector", allowed=known)
        )
    return found


def points_for(scene, spec, at, arrays):
    """The points asked for, else the projector's usual one."""
    from projector.studies.light.light_at import usual_point

    return [point_from(text) for text in at] if at else [usual_point(scene, spec, arrays)]
