"""A small studio for tests: scenes from a few words, bitmaps on disk, and rulers for edges in a map."""

from __future__ import annotations

import copy
import json

import numpy as np
import pytest

from projector.scene.model import Scene

PROJECTOR = {
    "name": "window",
    "position_m": [0.0, 1.5, 2.0],
    "aim": [0.0, 1.5, 0.0],
    "gate": {"shape": "round", "diameter_mm": 60.0},
    "lens": {"focal_length_mm": 85.0, "f_number": 4.0},
    "focus": {"distance_m": 2.0},
    "reading": {"f_number": 8.0, "iso": 100.0, "distance_m": 2.0},
}
WALL = {"name": "wall", "shape": "flat", "position_m": [0.0, 1.5, 0.0], "width_m": 2.0, "height_m": 2.0}
CAMERA = {"position_m": [0.0, 1.5, 4.0], "aim": [0.0, 1.5, 0.0]}


def mostly_slow(cases, quick: int = 1) -> list:
    """Cases of a parametrized test of which all but the first few are marked slow: a quick run keeps a share of it."""
    cases = list(cases)
    slow = [pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow) for case in cases]
    return [*cases[:quick], *slow[quick:]]


def merged(base: dict, changes: dict) -> dict:
    """A deep copy of base with changes put in, tables into tables."""
    result = copy.deepcopy(base)
    for key, value in changes.items():
        both = isinstance(value, dict) and isinstance(result.get(key), dict)
        result[key] = merged(result[key], value) if both else value
    return {key: value for key, value in result.items() if value is not None}


class Studio:
    """Builds scenes beside bitmaps in a folder of its own."""

    def __init__(self, folder):
        self.folder = folder

    def bitmap(self, name: str, values: np.ndarray) -> str:
        """Write values 0..1 (h, w) as an 8-bit PNG and return its name."""
        from PIL import Image

        Image.fromarray(np.round(np.asarray(values) * 255).astype(np.uint8)).save(self.folder / name)
        return name

    def half_plane(self, size: int = 1024, name: str = "half.png", vertical: bool = True) -> str:
        """A stencil that is open on the right (or lower) half: its edge runs through the middle."""
        values = np.zeros((size, size))
        if vertical:
            values[:, size // 2 :] = 1.0
        else:
            values[size // 2 :, :] = 1.0
        return self.bitmap(name, values)

    def scene(
        self, projector=None, wall=None, camera=None, more_projectors=(), figures=(), surfaces=None, **others
    ) -> Scene:
        """One projector square to a wall unless a change says otherwise; a value of None takes a key away."""
        data = {
            "format": 1,
            "camera": merged(CAMERA, camera or {}),
            "projector": [merged(PROJECTOR, projector or {}), *(merged(PROJECTOR, item) for item in more_projectors)],
            "surface": [merged(WALL, wall or {})] if surfaces is None else surfaces,
            "figure": list(figures),
            **others,
        }
        return Scene.model_validate_json(json.dumps(data)).placed_at("test", str(self.folder))


@pytest.fixture
def studio(tmp_path):
    """A Studio in a temporary folder."""
    return Studio(tmp_path)


class Ruler:
    """Measures along one line of a map: positions (n,) m, values (n,)."""

    @staticmethod
    def crossings(positions, values, level: float) -> np.ndarray:
        """Where the line crosses a level, by straight interpolation, in order."""
        positions, values = np.asarray(positions, float), np.asarray(values, float)
        above = values > level
        at = np.flatnonzero(above[1:] != above[:-1])
        share = (level - values[at]) / (values[at + 1] - values[at])
        return positions[at] + share * (positions[at + 1] - positions[at])

    @classmethod
    def edge_width(cls, positions, values) -> float:
        """10–90 % width of the only edge on the line, its ends taken as dark and full."""
        full = np.max(values)
        low, high = cls.crossings(positions, values, 0.1 * full), cls.crossings(positions, values, 0.9 * full)
        assert low.size == 1 and high.size == 1, (low, high)
        return abs(high[0] - low[0])

    @staticmethod
    def axes(found):
        """x (w,) and y (h,) of a map's points, m."""
        left, right, bottom, top = found.extent_m
        rows, columns = found.illuminance.shape
        x = left + (np.arange(columns) + 0.5) * (right - left) / columns
        y = top - (np.arange(rows) + 0.5) * (top - bottom) / rows
        return x, y


@pytest.fixture
def ruler():
    """The Ruler."""
    return Ruler
