"""What should be said of a scene beside its numbers: the same words under a preview, on a sheet and in their files."""

from __future__ import annotations

from projector.scene.reading.reader import warnings_of
from projector.stage.power import power_of
from projector.stage.surfaces import SceneArrays
from projector.studies.light.light_at import focus_notes


def scene_notes(scene, arrays: SceneArrays | None = None) -> list[str]:
    """All that is noted of a picture of a scene: by its check, and of what is taken for granted of its light."""
    return [*warnings_of(scene), *power_notes(scene), *unstated_notes(scene), *focus_notes(scene, arrays)]


def power_notes(scene) -> list[str]:
    """What is taken for granted of each projector whose power was stated with another lens or stop than it has."""
    carried = [(spec.name, power_of(scene, spec).carried_over) for spec in scene.projector]
    return [item.sentence(name) for name, item in carried if item is not None]


def unstated_notes(scene) -> list[str]:
    """That projectors without a statement of power are taken to meter right."""
    unstated = [spec.name for spec in scene.projector if spec.reading is None and spec.output is None]
    if not unstated:
        return []
    taken = "the picture is exposed as if the open gate metered right at its focus distance"
    return [f"no reading for {', '.join(unstated)}: {taken}."]
