"""What must be the same everywhere is written once: the lines of glass catalogues, luminance, a meter's choice of
formula, and how a file comes to be whole or not at all.
"""

from __future__ import annotations

import ast

import pytest

from projector.photometry import exposure, spectra
from tests.sources import MODULES, module_id, nodes


def modules_where(found) -> list[str]:
    """Modules of the package that hold a piece of code for which `found` is true."""
    return [module_id(path) for path in MODULES if any(map(found, nodes(path)))]


@pytest.mark.parametrize("line_nm", [486.1327, 587.5618, 656.2725])
def test_a_line_of_the_glass_catalogues_is_a_number_once(line_nm):
    assert modules_where(lambda node: isinstance(node, ast.Constant) and node.value == line_nm) == [
        "optics/dispersion.py"
    ]


def calls(name: str):
    """Whether a node calls a function, or a method, of that name."""

    def found(node) -> bool:
        if not isinstance(node, ast.Call):
            return False
        return getattr(node.func, "attr", getattr(node.func, "id", "")) == name

    return found


def test_files_are_made_whole_in_one_place():
    """Through a temporary file that takes the goal's place at the end; the cache of kernels is numba's own."""
    moves = modules_where(lambda node: isinstance(node, ast.Attribute) and ast.unparse(node) == "os.replace")
    assert moves == ["files/records.py"]


def test_a_luminous_integral_becomes_photometric_in_one_place():
    spectrum = spectra.equal_energy()
    assert spectra.photometric(spectrum) == pytest.approx(683.0 * spectra.luminous(spectrum), rel=1e-15)

    def made_of_parts(node) -> bool:
        return (
            isinstance(node, ast.BinOp)
            and isinstance(node.op, ast.Mult)
            and {"K_M", "luminous"} <= {getattr(part, "id", "") for part in ast.walk(node)}
        )

    assert modules_where(made_of_parts) == ["photometry/spectra.py"]


def test_the_choice_between_flash_and_steady_light_is_made_in_one_place():
    """ISO 2720: H = C·N²/S of a flash is E·t of steady light, so both say the same at one second."""
    assert exposure.light_for_reading(8.0, 100.0) == exposure.light_for_reading(8.0, 100.0, 1.0) == 160.0
    assert exposure.f_number_for_light(160.0, 100.0) == exposure.f_number_for_light(320.0, 100.0, 0.5) == 8.0
    for name in ("f_number_for_illuminance", "illuminance_for_settings"):
        assert modules_where(calls(name)) == ["photometry/exposure.py"]
