"""What should be said of a scene beside its numbers: the same words under a preview, on a sheet and in their files."""

from __future__ import annotations

from projector.scene.model.light import states_power
from projector.scene.reading.reader import warnings_of
from projector.stage.stage import SceneOrStage, stage_of
from projector.studies.light.light_at import focus_notes


def scene_notes(stage: SceneOrStage) -> list[str]:
    """All that is noted of a picture of a scene: by its check, and of what is taken for granted of its light."""
    stage = stage_of(stage)
    return [
        *warnings_of(stage.scene),
        *power_notes(stage),
        *unstated_notes(stage.scene),
        *focus_notes(stage),
        *haze_notes(stage.scene),
    ]


def power_notes(stage: SceneOrStage) -> list[str]:
    """What is taken for granted of each projector whose power was stated with another lens or stop than it has."""
    carried = [(item.name, item.power.carried_over) for item in stage_of(stage).projectors]
    return [item.sentence(name) for name, item in carried if item is not None]


def unstated_notes(scene) -> list[str]:
    """That lights without a statement of power are taken to meter right, and which are only estimated."""
    unstated = [spec.name for spec in scene.projector if not spec.power_is_stated]
    taken = "the picture is exposed as if the open gate metered right at its focus distance"
    notes = [f"no reading for {', '.join(unstated)}: {taken}."] if unstated else []
    lights = [spec.name for spec in scene.light if spec.on and not states_power(spec)]
    if lights:
        notes.append(f"no reading for {', '.join(lights)}: taken to meter right at what they aim at.")
    estimates = [spec.name for spec in scene.light if spec.on and spec.energy is not None]
    if estimates:
        notes.append(
            f"{', '.join(estimates)}: power by energy, an estimate within about a stop either way; a meter's reading is"
            " worth more."
        )
    return notes


def haze_notes(scene) -> list[str]:
    """What anybody should be reminded of who wants haze in a room."""
    if scene.haze is None:
        return []
    return [
        "haze: ask the venue first, as it sets off smoke alarms; air the room, and follow the fluid maker's"
        " instructions and local rules."
    ]
