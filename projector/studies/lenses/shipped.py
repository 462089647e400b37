"""Lens files in place of a projector's own lens: those that come along, and any by name."""

from __future__ import annotations

import json

from projector.files.finding import find_file, shipped_folder
from projector.scene import stated_power
from projector.scene.model import Lens
from projector.scene.reading.lens_files import read_lens_file


def shipped_lenses():
    """Name and Lens of every lens file that comes along."""
    for path in sorted(shipped_folder("lens").glob("*.toml")):
        keys = read_lens_file(path)
        keys.setdefault("widest_f_number", keys.get("f_number"))
        yield path.stem, Lens.model_validate_json(json.dumps(keys))


def with_lens(scene, spec, name: str, f_number: float | None = None):
    """The projector with another lens file, for comparing before buying.

    f_number: at its own widest stop or a given one (or the lens's widest, if that is smaller). Its reading stays with
    the lens that it was taken with.
    """
    keys = dict(read_lens_file(find_file(name, scene.folder, "lens")))
    keys.setdefault("widest_f_number", keys.get("f_number"))
    keys["f_number"] = max(f_number or spec.lens.f_number, keys["widest_f_number"])
    return stated_power.with_lens(spec, Lens.model_validate_json(json.dumps(keys)))
