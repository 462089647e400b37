"""What must be the same everywhere is written once: the lines of glass catalogues, luminance, a meter's choice of
formula, the gate's border and blades, and how a file comes to be whole or not at all.
"""

from __future__ import annotations

import ast

import numpy as np
import pytest

from projector.jit import kernel
from projector.photometry import exposure, spectra
from projector.tracing.gate import gate_image
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


def reads(name: str, inside: type = ast.AST):
    """Whether a node, of a kind, reads an attribute of that name."""

    def found(node) -> bool:
        return isinstance(node, inside) and any(
            isinstance(part, ast.Attribute) and isinstance(part.ctx, ast.Load) and part.attr == name
            for part in ast.walk(node)
        )

    return found


def is_held_against(name: str):
    """Whether a node asks if something is within an attribute of that name."""
    reads_it = reads(name, ast.Compare)
    return lambda node: reads_it(node) and isinstance(node.ops[0], (ast.LtE, ast.Lt))


def test_the_gates_border_and_its_hot_spot_are_written_once_for_kernels_and_arrays():
    assert modules_where(reads("falloff_stops")) == ["tracing/gate/gate_image.py"]
    assert modules_where(is_held_against("half_width")) == ["tracing/gate/gate_image.py"]
    for gate in (gate_image.round_gate(0.03, 1.5), gate_image.rectangular_gate(0.03, 0.02, 1.5)):
        x, y = np.random.default_rng(1).uniform(-0.02, 0.02, (2, 500))
        inside, glow = gate_image.is_inside_gate(gate, x, y), gate_image.hot_spot(gate, x, y)
        one_by_one = np.array([(in_opening(gate, *place), glow_at(gate, *place)) for place in zip(x, y, strict=True)])
        assert 0 < inside.sum() < inside.size
        # numpy's own exp2 may differ from the compiler's by a unit or two in the last place.
        assert (one_by_one[:, 0] == inside).all() and one_by_one[:, 1] == pytest.approx(glow, rel=1e-15)


@kernel
def in_opening(gate, x, y):
    return gate_image.is_inside_gate(gate, x, y)


@kernel
def glow_at(gate, x, y):
    return gate_image.hot_spot(gate, x, y)


def test_where_a_ray_meets_a_blade_and_the_gate_is_written_in_the_lenss_law_alone():
    """The lanes of `tracing/gate/patch_lanes.py` write the law as machine vectors; their own test holds them to it."""
    assert modules_where(reads("tube_lengths")) == ["tracing/gate/lens_law.py"]
    assert modules_where(is_less("inverse_distance")) == ["tracing/gate/lens_law.py", "tracing/gate/patch_lanes.py"]
    assert modules_where(is_less("1.0 / tube_length")) == ["optics/thin_lens.py"]
    assert modules_where(is_less("1.0 / tube")) == []


def is_less(subtracted: str):
    """Whether a node is a difference that takes away a piece of code, written so."""
    return lambda node: (
        isinstance(node, ast.BinOp) and isinstance(node.op, ast.Sub) and ast.unparse(node.right) == subtracted
    )


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
