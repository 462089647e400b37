"""What stands in the studio: the fields of a scene file, checked one by one. Field names are the file's keys.

What concerns several fields at once (landmarks, focus, power) is checked in `scene.checks`, so that one wrong field
does not hide the others.
"""

from projector.scene.model.beam import Blade, Filter, Focus, Gate, Source, Stencil
from projector.scene.model.camera import Camera
from projector.scene.model.figure import Figure
from projector.scene.model.gear import Gear, GearUnit, level_of
from projector.scene.model.kinds import Part
from projector.scene.model.lens import Dispersion, Lamp, Lens, PupilShape
from projector.scene.model.light import Against, Energy, Honeycomb, Light, LightOutput, LightReading
from projector.scene.model.power import GearPower, Output, Reading, Statement
from projector.scene.model.projector import Projector
from projector.scene.model.room import Ambient, Haze
from projector.scene.model.scene import FORMAT, Scene, scene_schema
from projector.scene.model.surface import Surface

__all__ = [
    "FORMAT",
    "Against",
    "Ambient",
    "Blade",
    "Camera",
    "Dispersion",
    "Energy",
    "Figure",
    "Filter",
    "Focus",
    "Gate",
    "Gear",
    "GearPower",
    "GearUnit",
    "Haze",
    "Honeycomb",
    "Lamp",
    "Lens",
    "Light",
    "LightOutput",
    "LightReading",
    "Output",
    "Part",
    "Projector",
    "PupilShape",
    "Reading",
    "Scene",
    "Source",
    "Statement",
    "Stencil",
    "Surface",
    "level_of",
    "scene_schema",
]
