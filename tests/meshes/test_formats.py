"""Mesh files as other programs write them, and damaged ones by the hundred: read rightly, or refused in words.

More mutations than the share that runs here: PROJECTOR_MUTATIONS=5000 python -m pytest tests/meshes/test_formats.py -k
damaged
"""

from __future__ import annotations

import json
import os
import random
import struct
import time
import tracemalloc

import numpy as np
import pytest
import trimesh

from projector.faults import SceneError
from projector.meshes.mesh_file import load_mesh

N_MUTATIONS = int(os.environ.get("PROJECTOR_MUTATIONS", "120"))
# Seeds are a few kilobytes: a reader that believed a length in them would ask for far more than this, or take far
# longer.
MOST_BYTES, MOST_SECONDS = 100_000_000, 3.0
# Words of the programming language that say nothing to a photographer.
FOREIGN = (
    "Error",
    "Exception",
    "Traceback",
    "NoneType",
    "object",
    "ndarray",
    "index out",
    "unpack",
    "literal",
    "dtype",
)

CORNERS = [(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 0.2), (0.0, 1.0, 0.0), (0.5, 0.5, 1.0), (0.5, 1.5, 0.5)]
FACES = [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4), (3, 2, 1, 0), (2, 5, 3)]
TRIANGLES = [face for face in FACES if len(face) == 3]


def binary_stl():
    rows = b"".join(
        struct.pack("<12fH", 0, 0, 1, *(x for corner in face for x in CORNERS[corner]), 0) for face in TRIANGLES
    )
    return b"solid of some kind".ljust(80) + struct.pack("<I", len(TRIANGLES)) + rows


def text_stl():
    facets = (
        "".join(
            [
                "facet normal 0 0 1\nouter loop\n",
                *("vertex {} {} {}\n".format(*CORNERS[corner]) for corner in face),
                "endloop\nendfacet\n",
            ]
        )
        for face in TRIANGLES
    )
    return ("solid thing\n" + "".join(facets) + "endsolid thing\n").encode()


def obj():
    lines = ["mtllib some.mtl", *("v {} {} {}".format(*corner) for corner in CORNERS), "vn 0 0 1", "usemtl red"]
    lines += ["f " + " ".join(f"{corner + 1}//1" for corner in face) for face in FACES] + ["f -1 -2 \\", " -3"]
    return "\n".join(lines).encode()


def off(keyword="OFF", tail=""):
    return "\n".join(
        [
            keyword,
            f"{len(CORNERS)} {len(FACES)} 0",
            *("{} {} {}".format(*corner) + tail for corner in CORNERS),
            *(" ".join(map(str, (len(face), *face))) for face in FACES),
        ]
    ).encode()


def ply(kind):
    order = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}[kind]
    head = (
        f"ply\nformat {kind} 1.0\ncomment made here\nelement vertex {len(CORNERS)}\nproperty float x\nproperty float"
        " y\nproperty float z\nproperty uchar red\n"
    )
    head += f"element face {len(FACES)}\nproperty list uchar int vertex_indices\nproperty uchar flags\nend_header\n"
    if not order:
        rows = ["{} {} {} 7".format(*corner) for corner in CORNERS] + [
            " ".join(map(str, (len(face), *face, 1))) for face in FACES
        ]
        return (head + "\n".join(rows) + "\n").encode()
    rows = [struct.pack(order + "3fB", *corner, 7) for corner in CORNERS] + [
        struct.pack(f"{order}B{len(face)}iB", len(face), *face, 1) for face in FACES
    ]
    return head.encode() + b"".join(rows)


def glb(places=None, component=5126, normalized=False, mode=4, extra=None, node=None):
    """A GLB of one mesh: places (n, 3) of the component's kind, four bytes aligned; extra: more of its description."""
    places = np.array(CORNERS, np.float32) if places is None else places
    padded = np.zeros((len(places), -(-places.itemsize * 3 // 4) * 4), np.uint8)
    padded[:, : 3 * places.itemsize] = np.ascontiguousarray(places).view(np.uint8).reshape(len(places), -1)
    indices = np.array(TRIANGLES, np.uint16).reshape(-1)
    data = padded.tobytes() + indices.tobytes()
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [
            {"children": [1], "translation": [0.0, 1.0, 0.0]},
            (
                {"mesh": 0, "rotation": [0.0, 0.0, 0.7071068, 0.7071068], "scale": [2.0, 2.0, 2.0]}
                if node is None
                else node
            ),
        ],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "mode": mode}]}],
        "accessors": [
            {
                "bufferView": 0,
                "componentType": component,
                "count": len(places),
                "type": "VEC3",
                "normalized": normalized,
            },
            {"bufferView": 1, "componentType": 5123, "count": indices.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": padded.size, "byteStride": padded.shape[1]},
            {"buffer": 0, "byteOffset": padded.size, "byteLength": indices.nbytes},
        ],
        "buffers": [{"byteLength": len(data)}],
        **(extra or {}),
    }
    return glb_of(tree, data)


def glb_of(tree, data=b""):
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(data), 0x004E4942) + data
    return b"glTF" + struct.pack("<II", 2, 12 + len(body)) + body


SEEDS = {
    "binary.stl": binary_stl(),
    "text.stl": text_stl(),
    "a.obj": obj(),
    "a.off": off(),
    "colours.off": off("COFF", " 0.5 0.5 0.5 1"),
    "text.ply": ply("ascii"),
    "little.ply": ply("binary_little_endian"),
    "big.ply": ply("binary_big_endian"),
    "a.glb": glb(),
    "strip.glb": glb(mode=5),
    "short.glb": glb(
        np.array([[0, 0, 0], [32767, 0, 0], [0, 32767, 0], [0, 0, -32768], [9, 9, 9], [1, 2, 3]], np.int16), 5122, True
    ),
}


def loaded(tmp_path, name, content):
    path = tmp_path / name
    path.write_bytes(content)
    return load_mesh(path)


def said_of(tmp_path, name, content):
    with pytest.raises(SceneError) as caught:
        loaded(tmp_path, name, content)
    return caught.value.faults[0].found


def area(mesh):
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).area


WHOLE = trimesh.Trimesh(CORNERS, [*TRIANGLES, (3, 2, 1), (3, 1, 0)], process=False).area
OF_TRIANGLES = trimesh.Trimesh(CORNERS, TRIANGLES, process=False).area


@pytest.mark.parametrize("name", ["a.off", "colours.off", "text.ply", "little.ply", "big.ply"])
def test_every_form_of_text_and_binary_holds_the_same_surface(tmp_path, name):
    assert area(loaded(tmp_path, name, SEEDS[name])) == pytest.approx(WHOLE, rel=0.01)


@pytest.mark.parametrize(
    "content",
    [
        off("NOFF", " 0 0 1"),
        off("CNOFF", " 0 0 1 0.2 0.2 0.2 1"),
        off("coff", " 255 0 0"),
        b"OFF " + off().partition(b"\n")[2],
        off().replace(b"\n", b" "),
        off().replace(b"\n", b"\r"),
        b"# made by hand\n" + off().replace(b"0 4\n", b"0 4 # corner\n"),
    ],
)
def test_off_with_normals_colours_or_anyhow_broken_lines(tmp_path, content):
    """Colours and normals were taken for places without a word."""
    assert area(loaded(tmp_path, "a.off", content)) == pytest.approx(WHOLE, rel=0.01)


def test_off_of_four_coordinates_is_refused(tmp_path):
    assert "more than three coordinates (4OFF)" in said_of(tmp_path, "a.off", off("4OFF", " 1"))
    assert "more than three coordinates (nOFF)" in said_of(tmp_path, "a.off", off("nOFF"))
    assert "binary OFF" in said_of(tmp_path, "a.off", b"OFF BINARY\n" + bytes(40))


LONG = b"a name of a part that goes on " * 20


@pytest.mark.parametrize(
    "content",
    [
        binary_stl() + b"\0\0made",
        binary_stl().replace(b"solid of some kind", b"solid facet normal"),
        b"solid facet endsolid".ljust(80) + binary_stl()[80:],
        text_stl().replace(b"\n", b"\r"),
        text_stl().upper(),
        text_stl().replace(b"thing", LONG),
        text_stl().replace(b"endsolid thing", b"endsolid"),
        b"\xef\xbb\xbf" + text_stl().replace(b"\n", b"\r\n"),
    ],
)
def test_stl_as_programs_write_it(tmp_path, content):
    """Trailing bytes, line ends of any kind, capitals, long names, and binary files whose head reads like text."""
    assert area(loaded(tmp_path, "a.stl", content)) == pytest.approx(OF_TRIANGLES, rel=1e-5)


def test_stl_whose_triangles_lack_corners_is_refused(tmp_path):
    assert "1 of its 5 triangles do not have three corners" in said_of(
        tmp_path, "a.stl", text_stl().replace(b"vertex 0.0 0.0 0.0\n", b"", 1)
    )
    assert "triangle 1 has a corner that is not three numbers" in said_of(
        tmp_path, "a.stl", text_stl().replace(b"vertex 0.0 0.0 0.0", b"vertex 0.0 o.o 0.0", 1)
    )
    assert "cut short: it has no endsolid" in said_of(tmp_path, "a.stl", text_stl()[:-20])


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbf" + obj(),
        obj().upper().replace(b"SOME.MTL", b"some.mtl"),
        obj().replace(b"\n", b"\r\n"),
        obj().decode().encode("utf-16"),
        obj().replace(b"mtllib some.mtl", b"mtllib"),
        obj().replace(b"mtllib some.mtl", b"mtllib " + b"x" * 70_000),
        obj().replace(b"f 1//1 2//1 5//1", b"f 1//1 \\\n2//1 \\\n5//1"),
    ],
)
def test_obj_as_programs_write_it(tmp_path, content):
    """A mark of byte order, capitals, faces continued on the next line,
    material lines without a name or of any length.
    """
    extra = trimesh.Trimesh([CORNERS[5], CORNERS[4], CORNERS[3]], [(0, 1, 2)], process=False).area
    mesh = loaded(tmp_path, "a.obj", content)
    assert area(mesh) == pytest.approx(WHOLE + extra, rel=0.01)
    assert all(len(note) < 200 for note in mesh.notes)


MISSING = [
    (
        "a.obj",
        obj().replace(b"f 1//1", b"f 123456789012345678901234567890", 1),
        "line 10: a face names its vertices so: 123456789012345678901234567890",
    ),
    ("a.obj", obj().replace(b"f 1//1", b"f -9//1", 1), "line 10: a face names its vertices so: -9//1"),
    ("a.obj", obj().replace(b"f 1//1", b"f 0//1", 1), "6 stand before it"),
    ("text.ply", ply("ascii").replace(b"3 0 1 4", b"3 0 9 4"), "face 1 names vertex 9 of 6, counted from 0"),
    ("text.ply", ply("ascii").replace(b"3 0 1 4", b"3 0 -1 4"), "face 1 names vertex -1 of 6"),
    (
        "little.ply",
        ply("binary_little_endian").replace(struct.pack("<3i", 0, 1, 4), struct.pack("<3i", 0, -7, 4)),
        "face 1 names vertex -7 of 6",
    ),
    ("a.off", off().replace(b"3 0 1 4", b"3 0 6 4"), "face 1 names vertex 6 of 6"),
    (
        "a.glb",
        glb().replace(struct.pack("<3H", 0, 1, 4), struct.pack("<3H", 0, 1, 60_000)),
        "a face names corner 60000, counted from 0, of 6",
    ),
]


@pytest.mark.parametrize(("name", "content", "words"), MISSING)
def test_a_face_that_names_a_vertex_that_is_not_there_is_told(tmp_path, name, content, words):
    assert words in said_of(tmp_path, name, content)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("text.ply", b"\n".join(ply("ascii").split(b"\n")[:-3]), "cut short: it names 6 faces and holds 4"),
        ("text.ply", ply("ascii")[:-6], "cut short: face 6 has fewer numbers than it names"),
        ("little.ply", ply("binary_little_endian")[:-3], "cut short: it names 6 faces and holds 5"),
        ("big.ply", ply("binary_big_endian")[:300], "cut short: it names 6 vertices and holds"),
        ("text.ply", ply("ascii").replace(b"element face 6", b"element face 600000000000"), "faces"),
        ("a.glb", glb()[:-4], "cut short: it names"),
        ("a.off", off()[:-9], "cut short"),
        ("colours.off", off("COFF", " 1 1 1")[:-12], "cut short: it names 6 corners and 6 faces"),
    ],
)
def test_a_file_cut_within_its_faces_is_told(tmp_path, name, content, words):
    """A text PLY cut within its faces was taken for whole."""
    assert words in said_of(tmp_path, name, content)


def test_glb_with_corners_in_small_whole_numbers_is_read_at_its_size(tmp_path):
    """KHR_mesh_quantization (Khronos): normalized numbers of 16 bits stand for −1 … 1, of 8 bits for 0 … 1; others for
    themselves.
    """
    node = {"mesh": 0, "scale": [0.5, 0.5, 0.5]}
    for places, component, normalized, size in (
        (np.round(np.array(CORNERS) * 16383).astype(np.int16), 5122, True, 0.25),
        (np.round(np.array(CORNERS) * 127).astype(np.uint8), 5121, True, 0.25 * 254 / 255),
        (np.round(np.array(CORNERS) * 1000).astype(np.int16), 5122, False, 500.0),
    ):
        extra = {"extensionsUsed": ["KHR_mesh_quantization"], "extensionsRequired": ["KHR_mesh_quantization"]}
        mesh = loaded(tmp_path, "small.glb", glb(places, component, normalized, extra=extra, node=node))
        assert np.ptp(mesh.vertices[:, 0]) == pytest.approx(size, rel=2e-3)


def test_glb_places_its_parts_as_a_reference_reader_does(tmp_path):
    """Turned, scaled and nested nodes, held to trimesh."""
    scene = trimesh.Scene()
    turn = trimesh.transformations.euler_matrix(0.3, -0.7, 1.1)
    turn[:3, 3] = [0.1, 0.4, -0.3]
    scene.add_geometry(trimesh.creation.box((0.2, 0.3, 0.4)), node_name="a", transform=turn)
    scene.add_geometry(trimesh.creation.icosphere(1, 0.1), node_name="b", parent_node_name="a", transform=turn)
    for content in (scene.export(file_type="glb"), SEEDS["a.glb"]):
        mesh = loaded(tmp_path, "a.glb", content)
        judge = trimesh.load(tmp_path / "a.glb", process=False).to_geometry()
        assert np.stack([mesh.vertices.min(0), mesh.vertices.max(0)]) == pytest.approx(judge.bounds, abs=1e-6)
        assert area(mesh) == pytest.approx(judge.area, rel=1e-5)


def test_a_strip_turns_every_second_triangle(tmp_path):
    """Six corners in a row 0 … 5 make four triangles whose normals agree (glTF 2.0, 3.7.2.1)."""
    flat = np.array([(0, 0, 0), (0, 1, 0), (1, 0, 0), (1, 1, 0), (2, 0, 0), (2, 1, 0)], np.float32)
    content = glb(
        flat, mode=5, extra={"meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": 5}]}]}, node={"mesh": 0}
    )
    mesh = loaded(tmp_path, "strip.glb", content)
    assert area(mesh) == pytest.approx(2.0) and len(mesh.triangles) == 4
    assert np.ptp(mesh.normals, axis=0).max() < 1e-6


@pytest.mark.parametrize(
    ("extension", "words"),
    [
        ("KHR_draco_mesh_compression", "compressed (Draco)"),
        ("EXT_meshopt_compression", "compressed (meshopt)"),
        ("EXT_mesh_gpu_instancing", "list of instances"),
    ],
)
def test_glb_that_needs_what_is_not_read_says_so(tmp_path, extension, words):
    assert words in said_of(
        tmp_path, "a.glb", glb(extra={"extensionsUsed": [extension], "extensionsRequired": [extension]})
    )


def test_glb_compressed_in_its_parts_says_so(tmp_path):
    primitive = {
        "attributes": {"POSITION": 0},
        "extensions": {"KHR_draco_mesh_compression": {"bufferView": 0, "attributes": {"POSITION": 0}}},
    }
    accessors = [{"componentType": 5126, "count": 6, "type": "VEC3"}]
    assert "compressed (Draco)" in said_of(
        tmp_path, "a.glb", glb(extra={"meshes": [{"primitives": [primitive]}], "accessors": accessors})
    )


def test_quads_and_longer_faces_with_corners_turned_inward_keep_their_area(tmp_path):
    """A dart, whichever corner it starts at, and a star of ten corners (textbook areas: the shoelace formula)."""
    dart = [(0.0, 0.0), (2.0, 0.0), (0.5, 0.5), (0.0, 2.0)]
    angles = np.arange(10) * np.pi / 5
    star = list(
        zip(
            np.cos(angles) * np.where(np.arange(10) % 2, 0.3, 1.0),
            np.sin(angles) * np.where(np.arange(10) % 2, 0.3, 1.0),
            strict=True,
        )
    )
    for shape in (dart, star):
        x, y = np.array(shape).T
        expected = 0.5 * abs((x * np.roll(y, -1) - y * np.roll(x, -1)).sum())
        for first in range(len(shape)):
            corners = shape[first:] + shape[:first]
            lines = [f"v {x} {y} 0" for x, y in corners] + ["f " + " ".join(str(i + 1) for i in range(len(corners)))]
            mesh = loaded(tmp_path, "a.obj", "\n".join(lines).encode())
            assert area(mesh) == pytest.approx(expected) and len(mesh.triangles) == len(shape) - 2
            assert mesh.normals[:, 2].min() > 0.999


def test_joined_corners_do_not_depend_on_the_sign_of_zero(tmp_path):
    mesh = loaded(tmp_path, "a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nv -0.0 0 0\nv 1 0 0\nv 0 -1 0\nf 1 2 3\nf 4 6 5\n")
    assert len(mesh.vertices) == 4


def test_a_file_far_too_large_in_any_unit_is_refused(tmp_path):
    assert "lies 1e+06 m from the file's origin when read in m" in said_of(
        tmp_path, "a.obj", b"v 0 0 0\nv 1e6 0 0\nv 0 1 0\nf 1 2 3\n"
    )


NASTY = [
    b"nan",
    b"inf",
    b"1e999",
    b"-1",
    b"0",
    b"99999999999999999999999999",
    b"4294967295",
    b"2147483648",
    b"1e-320",
    b"",
    b"[]",
    b"null",
    b"\xff\xfe",
    b"x" * 5000,
    b"1_0",
]


def mutated(content: bytes, random_numbers: random.Random) -> bytes:
    """One to four changes of a file: bits, bytes, pieces cut out, doubled or cut off, and numbers put in the place of
    others.
    """
    data = bytearray(content)
    for _ in range(random_numbers.randint(1, 4)):
        at = random_numbers.randrange(len(data) + 1)
        kind = random_numbers.randrange(7)
        if kind == 0 and at < len(data):
            data[at] ^= 1 << random_numbers.randrange(8)
        elif kind == 1:
            data[at:at] = bytes(random_numbers.randrange(256) for _ in range(random_numbers.randint(1, 6)))
        elif kind == 2:
            del data[at : at + random_numbers.randint(1, 40)]
        elif kind == 3:
            del data[at:]
        elif kind == 4:
            data[at:at] = data[max(at - random_numbers.randint(1, 80), 0) : at]
        elif kind == 5 and at + 4 <= len(data):
            data[at : at + 4] = random_numbers.choice(
                [b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\0\0\0\0", b"\0\0\xc0\x7f", b"\x00\xca\x9a\x3b"]
            )
        else:
            ends = [place for place in range(at, len(data)) if data[place : place + 1] in (b" ", b"\n", b",", b"]")]
            end = ends[0] if ends else len(data)
            start = (
                max(
                    data.rfind(b" ", 0, end),
                    data.rfind(b"\n", 0, end),
                    data.rfind(b":", 0, end),
                    data.rfind(b"[", 0, end),
                )
                + 1
            )
            data[start:end] = random_numbers.choice(NASTY)
    return bytes(data)


@pytest.mark.parametrize("name", SEEDS)
def test_damaged_files_are_read_or_refused_in_words(tmp_path, name):
    random_numbers = random.Random(name)
    path = tmp_path / name
    path.write_bytes(SEEDS[name])
    assert len(load_mesh(path).triangles) >= 5
    n_read = 0
    for number in range(N_MUTATIONS):
        content = mutated(SEEDS[name], random_numbers)
        path.write_bytes(content)
        tracemalloc.start()
        start = time.perf_counter()
        try:
            mesh = load_mesh(path)
        except SceneError as error:
            for fault in error.faults:
                words = f"{fault.found} {fault.try_}"
                assert not any(word in words for word in FOREIGN) and len(words) < 400, (number, words)
        else:
            n_read += 1
            assert 0 <= mesh.triangles.min() <= mesh.triangles.max() < len(mesh.vertices), number
            assert np.isfinite(mesh.vertices).all() and np.isfinite(mesh.normals).all(), number
        finally:
            peak = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        assert peak < MOST_BYTES and time.perf_counter() - start < MOST_SECONDS, (number, peak)
    assert n_read < N_MUTATIONS
