"""Mesh files as they come: five formats, and every kind of damage that was met, in plain words."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import trimesh

from projector.faults import SceneError
from projector.meshes.mesh_file import load_mesh

L_CORNERS = [(0, 0, 0), (2, 0, 0), (2, 1, 0), (1, 1, 0), (1, 2, 0), (0, 2, 0)]


def area(mesh):
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).area


@pytest.mark.parametrize("ending", ["stl", "obj", "ply", "off", "glb"])
def test_a_sphere_comes_back_from_every_format_smooth(tmp_path, ending):
    path = tmp_path / f"ball.{ending}"
    trimesh.creation.icosphere(3, 0.5).export(path)
    mesh = load_mesh(path)
    assert len(mesh.triangles) == 1280
    # Shading normals of a fine sphere point outwards to well within a facet (textbook geometry).
    assert np.einsum("ij,ij->i", mesh.normals, mesh.vertices / 0.5).min() > 0.999


def test_a_box_keeps_its_edges(tmp_path):
    trimesh.creation.box((1, 1, 1)).export(tmp_path / "box.stl")
    mesh = load_mesh(tmp_path / "box.stl")
    assert len(mesh.vertices) == 24
    assert np.allclose(np.sort(np.abs(mesh.normals), axis=1), [0, 0, 1], atol=1e-6)


@pytest.mark.parametrize("ending", ["obj", "off", "ply"])
def test_a_polygon_with_an_inward_corner_keeps_its_area(tmp_path, ending):
    """An L of area 3 that a fan of triangles would make 4."""
    lines = {
        "obj": [*(f"v {x} {y} {z}" for x, y, z in L_CORNERS), "f 1 2 3 4 5 6"],
        "off": ["OFF", "6 1 0", *(f"{x} {y} {z}" for x, y, z in L_CORNERS), "6 0 1 2 3 4 5"],
    }
    lines["ply"] = [
        "ply",
        "format ascii 1.0",
        "element vertex 6",
        *(f"property float {axis}" for axis in "xyz"),
        "element face 1",
        "property list uchar int vertex_indices",
        "end_header",
        *(f"{x} {y} {z}" for x, y, z in L_CORNERS),
        "6 0 1 2 3 4 5",
    ]
    path = tmp_path / f"l.{ending}"
    path.write_text("\n".join(lines[ending]) + "\n")
    assert area(load_mesh(path)) == pytest.approx(3.0)


def refused(path, words):
    with pytest.raises(SceneError) as caught:
        load_mesh(path)
    assert words in caught.value.faults[0].found and caught.value.faults[0].file == str(path)


def test_a_cut_stl_says_how_much_is_missing(tmp_path):
    path = tmp_path / "cut.stl"
    trimesh.creation.icosphere(2).export(path)
    raw = path.read_bytes()
    path.write_bytes(raw[: 84 + 50 * 100])
    refused(path, "names 320 triangles and holds 100")
    path.write_bytes(raw[:80] + struct.pack("<I", 10) + raw[84:])
    refused(path, "names 10 triangles")
    path.write_text("solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\n")
    refused(path, "cut short")


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.obj", b"", "empty"),
        ("points.obj", b"v 0 0 0\nv 1 0 0\n", "no surface"),
        ("words.obj", b"v a b c\n", "line 1"),
        ("range.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "names vertex 9 of 3"),
        ("nan.obj", b"v 0 0 0\nv 1 nan 0\nv 0 1 0\nf 1 2 3\n", "1 vertices are not numbers, the first is number 2"),
        ("inf.obj", b"v 0 0 0\nv 1 inf 0\nv 0 1 0\nf 1 2 3\n", "not numbers"),
        ("flat.obj", b"v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\n", "no area"),
        ("picture.stl", b"\x89PNG\r\n\x1a\n" + b"0" * 100, "really a PNG picture"),
        ("short.off", b"OFF\n3 1 0\n0 0 0\n1 0 0\n", "cut short"),
        ("model.blend", b"BLENDER", "none of a mesh that can be read"),
        ("broken.glb", b"glTF" + b"\x00" * 20, "cannot be read"),
    ],
)
def test_files_without_a_usable_surface_are_refused_in_words(tmp_path, name, content, words):
    (tmp_path / name).write_bytes(content)
    refused(tmp_path / name, words)


def test_a_missing_file_and_a_folder(tmp_path):
    refused(tmp_path / "none.obj", "no such file")
    refused(tmp_path, "folder")


def test_faces_without_area_are_dropped_and_counted(tmp_path):
    (tmp_path / "m.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nv 2 0 0\nf 1 2 3\nf 1 2 4\n")
    mesh = load_mesh(tmp_path / "m.obj")
    assert len(mesh.triangles) == 1 and any("1 faces without area" in note for note in mesh.notes)
    assert np.isfinite(mesh.normals).all()


def test_a_missing_material_file_is_said_once(tmp_path):
    (tmp_path / "m.obj").write_text("mtllib gone.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    assert sum("gone.mtl" in note for note in load_mesh(tmp_path / "m.obj").notes) == 1


def test_a_head_two_hundred_metres_tall_is_questioned(tmp_path):
    trimesh.creation.box((200, 200, 200)).export(tmp_path / "big.stl")
    notes = load_mesh(tmp_path / "big.stl").notes
    assert any("is that right" in note and 'unit = "mm"' in note for note in notes)
    assert not any("is that right" in note for note in load_mesh(tmp_path / "big.stl", "mm").notes)


def test_the_up_axis_is_an_option_and_said(tmp_path):
    trimesh.creation.box((1, 2, 3)).export(tmp_path / "box.ply")
    upright = load_mesh(tmp_path / "box.ply", up="z")
    assert np.ptp(upright.vertices, axis=0) == pytest.approx([1, 3, 2])
    assert any("z up" in note for note in upright.notes)


def test_units_scale(tmp_path):
    trimesh.creation.box((1, 1, 1)).export(tmp_path / "box.ply")
    assert np.ptp(load_mesh(tmp_path / "box.ply", "inch").vertices[:, 0]) == pytest.approx(0.0254)


def test_an_inside_out_mesh_is_lit_on_the_side_that_is_seen(studio, tmp_path):
    from projector.rendering.preview import preview

    ball = trimesh.creation.icosphere(3, 0.4)
    pictures = []
    for name, mesh in (("out", ball), ("in", trimesh.Trimesh(ball.vertices, ball.faces[:, ::-1], process=False))):
        mesh.export(studio.folder / f"{name}.ply")
        surface = {"name": "ball", "shape": "mesh", "file": f"{name}.ply", "position_m": [0.0, 1.5, 0.0]}
        pictures.append(
            preview(
                studio.scene(None, surfaces=[surface], camera={"position_m": [1.0, 1.5, 4.0]}),
                width=64,
                height=48,
                quality="quick",
            ).pixels
        )
    assert pictures[0].max() > 100
    assert np.abs(pictures[0].astype(int) - pictures[1].astype(int)).max() <= 2
