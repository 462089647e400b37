"""The sitter: a closed mesh of adult size, landmarks on its skin, and a head that turns while the torso stays."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial import ConvexHull, KDTree
from scipy.spatial.transform import Rotation

from projector import jit
from projector.figures import figure as figure_module
from projector.figures.field.face import face_field
from projector.figures.figure import EYE_HEIGHT_M, KINDS, LANDMARKS, STATURE_M, build_figure, place_figure

TORSO_ONLY = {"left_shoulder", "right_shoulder", "chest"}


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Both kinds of figure, really built into an empty cache folder: ({kind: Figure}, folder)."""
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(jit, "cache_folder", lambda: folder)
        return {kind: build_figure(kind) for kind in KINDS}, folder


@pytest.fixture(scope="module")
def sitter(built):
    return built[0]["head_and_torso"]


def as_trimesh(figure):
    return trimesh.Trimesh(figure.mesh.vertices, figure.mesh.triangles, process=False)


def distance_to_skin(figure, points):
    """Distance (n,) of points (n, 3) from the mesh, metres: to the nearest of the 60 triangles with the nearest
    middles.
    """
    corners = figure.mesh.vertices[figure.mesh.triangles]
    near = corners[KDTree(corners.mean(axis=1)).query(points, 60)[1]].reshape(-1, 3, 3)
    repeated = np.repeat(points, 60, axis=0)
    feet = trimesh.triangles.closest_point(near, repeated)
    return np.linalg.norm(feet - repeated, axis=1).reshape(-1, 60).min(axis=1)


# ---- the mesh ----


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_mesh_is_closed_and_faces_outwards(built, kind):
    mesh = as_trimesh(built[0][kind])
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0.0
    # One piece without tunnels: the characteristic of the sphere (Euler).
    assert mesh.euler_number == 2
    assert len(mesh.split(only_watertight=False)) == 1


@pytest.mark.parametrize("kind", KINDS)
def test_mesh_is_small_enough_to_trace_and_fine_enough_for_a_face(built, kind):
    assert 20_000 <= len(built[0][kind].mesh.triangles) <= 60_000


@pytest.mark.parametrize("kind", KINDS)
def test_no_triangle_is_degenerate_and_no_vertex_is_left_over(built, kind):
    mesh = built[0][kind].mesh
    corners = mesh.vertices[mesh.triangles]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    area = 0.5 * np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    # The height over the longest side: at 0.05 of it no angle is under 3 degrees. float32 places a point here within
    # 1e-7 m.
    assert (2.0 * area / sides.max(axis=1) ** 2).min() > 0.05
    assert sides.min() > 1e-4
    assert len(np.unique(mesh.triangles)) == len(mesh.vertices)


def cosines_to_shading_normals(mesh):
    """Cosine between each triangle's own normal and the shading normals at its three corners, (m, 3)."""
    corners = mesh.vertices[mesh.triangles]
    own = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    own /= np.linalg.norm(own, axis=1, keepdims=True)
    return np.einsum("mj,mij->mi", own, mesh.normals[mesh.triangles])


@pytest.mark.parametrize("kind", KINDS)
def test_shading_normals_go_with_the_triangles(built, kind):
    mesh = built[0][kind].mesh
    assert np.allclose(np.linalg.norm(mesh.normals, axis=1), 1.0, atol=1e-12)
    cosines = cosines_to_shading_normals(mesh)
    # 60 degrees only in the tightest folds (lid line, behind the ear), where the radius is no longer than an edge;
    # on the skin in general within 15 degrees, so that the edge of a shadow is not seen to step from triangle to
    # triangle.
    assert cosines.min() > 0.5
    assert np.percentile(cosines, 5.0) > np.cos(np.radians(15.0))


def test_the_two_sides_of_the_face_are_alike(sitter):
    rows = np.random.default_rng(7).choice(np.flatnonzero(sitter.mesh.vertices[:, 1] > 1.47), 300, replace=False)
    mirrored = sitter.mesh.vertices[rows] * [-1.0, 1.0, 1.0]
    # Vertices lie on the field, chords up to 0.14 mm beside it, both ways; tight folds take up to twice that.
    assert distance_to_skin(sitter, mirrored).max() < 0.4e-3


# ---- landmarks ----


@pytest.mark.parametrize("kind", KINDS)
def test_landmarks_are_all_there_and_on_the_skin(built, kind):
    figure = built[0][kind]
    wanted = set(LANDMARKS) - (TORSO_ONLY if kind == "head" else set())
    assert set(figure.landmarks) == wanted
    assert all(type(name) is str for name in figure.landmarks)
    distance = distance_to_skin(figure, np.array(list(figure.landmarks.values())))
    # Chords of the mesh lie beside the field by at most 0.14 mm on the face and 0.8 mm on the body.
    for name, off in zip(figure.landmarks, distance, strict=True):
        assert off < (0.8e-3 if name in TORSO_ONLY | {"throat"} else 0.2e-3), name


def test_the_sitters_left_is_at_plus_x_and_the_face_looks_along_plus_z(sitter):
    for name, place in sitter.landmarks.items():
        if name.startswith("left_"):
            assert place[0] > 0.02
            assert sitter.landmarks[name.replace("left_", "right_")] == pytest.approx(place * [-1.0, 1.0, 1.0])
    head = sitter.mesh.vertices[sitter.mesh.vertices[:, 1] > 1.48]
    assert sitter.landmarks["nose_tip"][2] == pytest.approx(head[:, 2].max(), abs=0.2e-3)
    assert sitter.landmarks["top_of_head"][1] == pytest.approx(sitter.mesh.vertices[:, 1].max(), abs=0.2e-3)


def test_landmarks_follow_each_other_down_the_face(sitter):
    order = [
        "top_of_head",
        "forehead",
        "nose_bridge",
        "left_eye",
        "nose_tip",
        "mouth",
        "chin",
        "throat",
        "left_shoulder",
        "chest",
    ]
    heights = [sitter.landmarks[name][1] for name in order]
    assert heights == sorted(heights, reverse=True)


# ---- size ----
# U.S. Army anthropometric survey of 2012 (Gordon et al., NATICK/TR-15/007, 2014): mean and standard deviation of men
# and of women, mm, recomputed from the published data files (4082 men, 1986 women). A neutral adult lies between one
# deviation under the women's mean and one over the men's. The mesh adds at most 0.14 mm (face) or 0.8 mm (body), a
# tenth of the smallest deviation, so nothing is added to the range.
SURVEY = {
    "head length": ((199.5, 7.0), (189.8, 7.4)),
    "head breadth": ((154.3, 5.5), (147.8, 5.2)),
    "head circumference": ((574.4, 16.0), (561.1, 19.4)),
    "bizygomatic breadth": ((142.6, 6.2), (133.8, 5.6)),
    "menton-sellion length": ((122.6, 6.7), (113.1, 6.1)),
    "interpupillary breadth": ((64.0, 3.4), (61.7, 3.6)),
    "tragion to top of head": ((131.1, 6.2), (126.5, 6.5)),
    "ear length": ((64.2, 4.5), (59.4, 3.9)),
    "ear breadth": ((36.1, 3.0), (33.2, 2.8)),
    "neck circumference": ((397.6, 25.8), (329.8, 19.2)),
    "biacromial breadth": ((415.7, 19.2), (365.3, 18.3)),
    "bideltoid breadth": ((510.4, 32.5), (450.3, 28.7)),
    "chest depth": ((253.8, 26.2), (247.4, 27.3)),
}


def adult_range(measure):
    (men, men_deviation), (women, women_deviation) = SURVEY[measure]
    return min(men - men_deviation, women - women_deviation), max(men + men_deviation, women + women_deviation)


class Measurer:
    """Takes the survey's measures on a mesh, millimetres, eyes at height 0."""

    def __init__(self, figure):
        shift = np.array([0.0, EYE_HEIGHT_M, 0.0])
        self.vertices = (figure.mesh.vertices - shift) * 1e3
        self.marks = {name: (place - shift) * 1e3 for name, place in figure.landmarks.items()}
        self.mesh = trimesh.Trimesh(self.vertices, figure.mesh.triangles, process=False)
        self.midline = self.section([0.01, 0.0, 0.0], [1.0, 0.0, 0.0])
        brow = self.between(self.midline, y=(10, 40), z=(0, 200))
        self.glabella = brow[np.argmax(brow[:, 2])]
        back = self.between(self.midline, y=(-40, 120), z=(-200, 0))
        self.back_of_head = back[np.argmax(np.linalg.norm(back - self.glabella, axis=1))]

    def section(self, point, normal):
        return np.asarray(self.mesh.section(plane_origin=point, plane_normal=normal).vertices)

    @staticmethod
    def between(points, **limits):
        keep = np.ones(len(points), bool)
        for axis, (low, high) in limits.items():
            column = points[:, "xyz".index(axis)]
            keep &= (column >= low) & (column <= high)
        return points[keep]

    def breadth(self, **limits):
        return np.ptp(self.between(self.vertices, **limits)[:, 0])

    def tape(self, point, tilt_deg, half_width=200.0):
        """Length of a tape pulled around the figure in a plane that rises towards the back by `tilt_deg`."""
        tilt = np.radians(tilt_deg)
        across, along = np.array([1.0, 0.0, 0.0]), np.array([0.0, np.sin(tilt), -np.cos(tilt)])
        points = self.between(self.section(point, np.cross(along, across)), x=(-half_width, half_width))
        return ConvexHull(points @ np.column_stack([across, along])).area

    def ear(self):
        """Length and breadth of the left ear as seen from the side: what stands out of the head without ears."""
        region = self.between(self.vertices, x=(55, 120), y=(-70, 40), z=(-60, 25))
        side = region[face_field(tuple(region.T)) > 0.5][:, 1:]
        hull = side[ConvexHull(side).vertices]
        apart = np.linalg.norm(hull[:, None] - hull[None], axis=2)
        first, second = np.unravel_index(apart.argmax(), apart.shape)
        axis = (hull[first] - hull[second]) / apart.max()
        return apart.max(), np.ptp(hull @ [-axis[1], axis[0]])


@pytest.fixture(scope="module")
def measured(sitter):
    """The survey's measures of the figure, mm, each taken as its name says."""
    on = Measurer(sitter)
    mark = on.marks
    root_of_nose = on.between(on.midline, y=(-15, 15), z=(60, 120))
    sellion = root_of_nose[np.argmin(root_of_nose[:, 2])]
    rise = on.back_of_head - on.glabella
    ear_length, ear_breadth = on.ear()
    trunk = on.between(on.section([0.0, mark["chest"][1], 0.0], [0.0, 1.0, 0.0]), x=(-120, 120))
    return {
        "head length": np.linalg.norm(rise),
        "head breadth": on.breadth(y=(28, 120)),
        # The tape lies just above the brow and over the back of the head.
        "head circumference": on.tape(
            on.glabella + np.array([0.0, 4.0, 0.0]), np.degrees(np.arctan2(rise[1], -rise[2]))
        ),
        "bizygomatic breadth": on.breadth(y=(-30, 0), z=(12, 200)),
        "menton-sellion length": np.linalg.norm(mark["chin"] - sellion),
        "interpupillary breadth": mark["left_eye"][0] - mark["right_eye"][0],
        "tragion to top of head": mark["top_of_head"][1] - mark["left_ear"][1],
        "ear length": ear_length,
        "ear breadth": ear_breadth,
        # At right angles to the neck: of all planes through a point of a column the one of the shortest tape.
        "neck circumference": min(on.tape(mark["throat"], tilt, 90.0) for tilt in range(0, 31, 5)),
        "biacromial breadth": mark["left_shoulder"][0] - mark["right_shoulder"][0],
        "bideltoid breadth": on.breadth(y=(-340, -220)),
        "chest depth": np.ptp(trunk[:, 2]),
    }


@pytest.mark.parametrize("measure", [name for name in SURVEY if name != "tragion to top of head"])
def test_sizes_are_an_adults(measured, measure):
    low, high = adult_range(measure)
    assert low <= measured[measure] <= high


def test_ear_stands_at_an_adults_distance_below_the_top_of_the_head(measured):
    low, high = adult_range("tragion to top of head")
    # The landmark is on the flap of the ear; the tragion is the notch above it, at most 6 mm higher.
    assert low <= measured["tragion to top of head"] - 6.0
    assert measured["tragion to top of head"] <= high


def test_stature_puts_the_crown_at_its_height(sitter):
    assert sitter.landmarks["top_of_head"][1] == pytest.approx(STATURE_M, abs=2e-3)
    taller = place_figure(sitter, stature_m=1.87, position_m=(0.2, 0.1, -0.4))
    expected = (sitter.landmarks["top_of_head"] * 1.87 / STATURE_M) + [0.2, 0.1, -0.4]
    assert taller.landmarks["top_of_head"] == pytest.approx(expected, abs=1e-12)


# ---- turning ----


def test_unturned_sitter_stays_as_built(sitter):
    placed = place_figure(sitter)
    assert np.allclose(placed.mesh.vertices, sitter.mesh.vertices, atol=1e-15)
    # Normals carried by differences over 1e-5 m keep about 1e-16 / 1e-5 of their digits.
    assert np.allclose(placed.mesh.normals, sitter.mesh.normals, atol=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_yaw_turns_the_face_to_the_sitters_left(built, kind):
    turned = place_figure(built[0][kind], yaw_deg=30.0).landmarks
    assert turned["nose_tip"][0] > 0.03
    assert turned["left_ear"][2] < turned["right_ear"][2]
    across = turned["left_ear"] - turned["right_ear"]
    assert np.degrees(np.arctan2(-across[2], across[0])) == pytest.approx(30.0, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_pitch_lifts_the_chin(built, kind):
    figure = built[0][kind]
    turned = place_figure(figure, pitch_deg=15.0).landmarks
    assert turned["chin"][1] > figure.landmarks["chin"][1] + 5e-3
    before, after = (marks["forehead"] - marks["chin"] for marks in (figure.landmarks, turned))
    lean = np.degrees(np.arctan2(before[2], before[1]) - np.arctan2(after[2], after[1]))
    assert lean == pytest.approx(15.0, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_tilt_leans_the_head_to_the_left_shoulder(built, kind):
    turned = place_figure(built[0][kind], tilt_deg=12.0).landmarks
    assert turned["top_of_head"][0] > 0.03
    across = turned["left_eye"] - turned["right_eye"]
    assert np.degrees(np.arctan2(across[1], across[0])) == pytest.approx(-12.0, abs=1e-9)


def test_head_turns_as_a_rigid_body_by_tilt_then_pitch_then_yaw(sitter):
    turned = place_figure(sitter, yaw_deg=35.0, pitch_deg=-10.0, tilt_deg=8.0)
    # Positive angles to the sitter's left, chin up and to the left shoulder are +, −, − about y, x and z.
    judge = Rotation.from_euler("YXZ", [35.0, 10.0, -8.0], degrees=True)
    names = [name for name in LANDMARKS if name not in TORSO_ONLY | {"throat"}]
    before, after = (np.array([marks[name] for name in names]) for marks in (sitter.landmarks, turned.landmarks))
    assert np.allclose(after - after[0], judge.apply(before - before[0]), atol=1e-12)


def test_torso_stays_while_the_head_turns(sitter):
    turned = place_figure(sitter, yaw_deg=50.0, pitch_deg=-12.0, tilt_deg=10.0)
    below_the_neck = sitter.mesh.vertices[:, 1] < 1.35
    assert below_the_neck.sum() > 2000
    assert np.allclose(turned.mesh.vertices[below_the_neck], sitter.mesh.vertices[below_the_neck], atol=1e-14)
    for name in TORSO_ONLY:
        assert turned.landmarks[name] == pytest.approx(sitter.landmarks[name], abs=1e-14)


def test_torso_turns_alone_when_asked(sitter):
    turned = place_figure(sitter, torso_yaw_deg=-20.0)
    assert turned.landmarks["nose_tip"] == pytest.approx(sitter.landmarks["nose_tip"], abs=1e-14)
    across = turned.landmarks["left_shoulder"] - turned.landmarks["right_shoulder"]
    assert np.degrees(np.arctan2(-across[2], across[0])) == pytest.approx(-20.0, abs=1e-9)


@pytest.mark.parametrize("angles", [(60, 0, 0), (-45, -15, 0), (30, 15, 10), (0, 20, 0), (0, -20, 0), (0, 0, 20)])
def test_neck_bends_without_folding(sitter, angles):
    turned = place_figure(sitter, yaw_deg=angles[0], pitch_deg=angles[1], tilt_deg=angles[2])
    cosines = cosines_to_shading_normals(turned.mesh)
    assert cosines.min() > 0.3
    assert np.percentile(cosines, 5.0) > np.cos(np.radians(15.0))
    # Flesh is shifted, not made: a litre of neck in 29 litres of figure may change by a tenth.
    assert as_trimesh(turned).volume == pytest.approx(as_trimesh(sitter).volume, rel=0.004)


# ---- cache ----


@pytest.fixture
def builds(built, monkeypatch):
    """Counts the builds; instead of seconds of meshing each gives the arrays that were built before."""
    calls = []

    def build(kind):
        calls.append(kind)
        figure = built[0][kind]
        mesh = figure.mesh
        return (
            mesh.vertices,
            mesh.triangles,
            mesh.normals,
            list(figure.landmarks),
            np.array(list(figure.landmarks.values())),
        )

    monkeypatch.setattr(figure_module, "_build", build)
    return calls


def assert_same(figure, other):
    assert np.array_equal(figure.mesh.vertices, other.mesh.vertices)
    assert np.array_equal(figure.mesh.triangles, other.mesh.triangles)
    assert figure.mesh.triangles.dtype == np.int32
    assert np.array_equal(figure.mesh.normals, other.mesh.normals)
    assert list(figure.landmarks) == list(other.landmarks)
    assert all(np.array_equal(figure.landmarks[name], other.landmarks[name]) for name in figure.landmarks)


def test_a_kept_figure_is_loaded_bit_for_bit(built, builds, monkeypatch):
    figures, folder = built
    monkeypatch.setattr(jit, "cache_folder", lambda: folder)
    for kind in KINDS:
        assert_same(build_figure(kind), figures[kind])
    assert builds == []


@pytest.mark.parametrize("damage", ["cut", "noise", "empty"])
def test_a_damaged_cache_file_is_built_again_and_mended(built, builds, monkeypatch, tmp_path, damage):
    figures, folder = built
    whole = next((folder / "figures").glob("head-*.npz"))
    content = whole.read_bytes()
    path = tmp_path / "figures" / whole.name
    path.parent.mkdir()
    path.write_bytes({"cut": content[: len(content) // 2], "noise": b"\x00\xff" * 500, "empty": b""}[damage])
    monkeypatch.setattr(jit, "cache_folder", lambda: tmp_path)
    assert_same(build_figure("head"), figures["head"])
    assert builds == ["head"]
    assert_same(build_figure("head"), figures["head"])
    assert builds == ["head"]
    assert [file.name for file in path.parent.iterdir()] == [whole.name]


def test_a_cache_that_cannot_be_written_costs_only_time(built, builds, monkeypatch, tmp_path):
    # A file where the folder should be stops even a user who may write everywhere.
    (tmp_path / "figures").write_text("not a folder")
    monkeypatch.setattr(jit, "cache_folder", lambda: tmp_path)
    assert_same(build_figure("head"), built[0]["head"])
    assert_same(build_figure("head"), built[0]["head"])
    assert builds == ["head", "head"]


def test_an_unknown_kind_is_refused_with_what_is_allowed():
    with pytest.raises(ValueError, match=r'"bust".*allowed: head, head_and_torso'):
        build_figure("bust")
