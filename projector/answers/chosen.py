"""Which projector, point, size and quality a person asked for, from the words typed."""

from __future__ import annotations

from projector.answers.typed import point_from
from projector.faults import Fault, SceneError


def chosen_projectors(scene, name: str | None):
    """The projectors to answer for. SceneError for an unknown name, or a scene without any."""
    found = [spec for spec in scene.projector if name is None or spec.name == name]
    if not found:
        known = ", ".join(spec.name for spec in scene.projector) or "none in this scene"
        raise SceneError(
            Fault(found=f'there is no projector "{name}"' if name else "the scene has no projector", allowed=known)
        )
    return found


def one_projector(scene, name: str | None):
    """The projector that is asked about.

    SceneError where the scene has several and none is named: their order says nothing.
    """
    found = chosen_projectors(scene, name)
    if len(found) > 1:
        raise SceneError(
            Fault(
                found=f"{len(found)} projectors",
                allowed=", ".join(spec.name for spec in found),
                key="projector",
                example=min(spec.name for spec in found),
            )
        )
    return found[0]


def points_for(stage, projector, at):
    """The points asked for, else the projector's usual one."""
    from projector.studies.light.light_at import usual_point

    return [point_from(text) for text in at] if at else [usual_point(stage, projector)]
