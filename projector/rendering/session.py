"""A scene held in memory: change something, get the new picture, pay only for what the change touches.

What is kept, and what makes it anew:

    meshes          the meshes themselves (a surface or a figure added, moved, turned)
    hits            the camera or the meshes
    first look      the projector's place or turn, its pupil's shape, another half stop, a beam a quarter wider or
                    narrower
    seen            the same, or the f-number: only the points in penumbra are traced again
    gate picture    the stencil or the gate; equal ones of several projectors are one
    stack           the same, or the pupil's shape; levels are added when a focus asks for them
    look-ups        anything of the lens, focus, stop, colour, source, power
    tone            exposure, ISO, shutter, white balance

A session may be used by one thread at a time; several sessions may work at once.
"""

from __future__ import annotations

import functools

import numpy as np

from projector.photometry.colour import linear_srgb_under_white, white_balance_xyz
from projector.photometry.exposure import picture_scale
from projector.rendering import prepared_light, sampling, shadows
from projector.rendering.ambient import LightLevel, room_light, room_spectrum
from projector.rendering.develop import develop
from projector.rendering.kept import N_REMEMBERED, Kept
from projector.rendering.prepared_light import LightSource, PreparedLight
from projector.rendering.sampling import QUALITIES, PointSet, Window
from projector.rendering.workers import Progress, Workers
from projector.scene.model import Scene
from projector.scene.placement import mesh_path, pupil_path, stencil_path
from projector.stage.camera import camera_arrays
from projector.stage.optics import bitmap_of, gate_of
from projector.stage.stage import SceneOrStage, stage_of
from projector.stage.surfaces import reflectances_of
from projector.tracing.gate.gate_image import draw_gate
from projector.tracing.sight.points import UNKNOWN
from projector.tracing.sight.visibility import mark_steps, seen_shares

# Neighbouring points that see shares of a pupil this far apart stand at a shadow's edge that one point a pixel would
# tear.
SHADOW_STEP = 0.5
# First looks that are remembered for all projectors together, and for each at least one.
_FIRST_LOOKS = 8


class RenderSession:
    """Renders one scene again and again. `scene` may be replaced at any time by `change_to`.

    width, height: pixels; quality: "quick" or "fine"; workers: threads to use; window: rows of the picture (all).
    """

    def __init__(
        self,
        scene: SceneOrStage,
        width: int = 960,
        height: int = 720,
        quality: str = "quick",
        workers: Workers | None = None,
        window: Window | None = None,
        kept: Kept | None = None,
    ):
        self.stage = stage_of(scene)
        self.width, self.height = width, height
        self.quality = QUALITIES[quality]
        self.workers = workers if workers is not None else Workers()
        self.window = window or Window(0, height)
        self.kept = kept or Kept()
        self.progress: Progress | None = None

    def change_to(self, scene: SceneOrStage) -> None:
        """Take another scene; what the two share is not made again."""
        self.stage = stage_of(scene)

    @property
    def scene(self) -> Scene:
        """The scene that is rendered."""
        return self.stage.scene

    def rgb_bytes(self, progress: Progress | None = None) -> np.ndarray:
        """The picture as sRGB bytes (rows of the window, width, 3) uint8."""
        xyz, matrix = self.exposed(progress)
        return develop(xyz, matrix, self.workers)

    def exposed(self, progress: Progress | None = None) -> tuple[np.ndarray, np.ndarray]:
        """The light (h, w, 3) float32 as XYZ in lx·s reflected, and the matrix (3, 3) that takes it to linear sRGB."""
        self.progress = progress
        camera = self.scene.camera
        layers = self._layers()
        # Flash comes whole within the open shutter; steady light counts for as long as it is open.
        total = None
        for picture, is_flash in layers:
            part = picture if is_flash else picture * np.float32(camera.shutter_s)
            total = part if total is None else total + part
        if total is None:
            total = np.zeros((self.window.last - self.window.first, self.width, 3), np.float32)
        white = white_balance_xyz(camera.white_balance_k)
        matrix = linear_srgb_under_white(white) * picture_scale(camera.f_number, camera.iso)
        return total, np.ascontiguousarray(matrix)

    # --- the stages, in the order of the table above

    def arrays(self):
        """The scene's meshes as arrays."""
        arrays = self.kept.get("meshes", _mesh_key(self.scene), lambda: self.stage.arrays)
        self.stage = self.stage.with_arrays(arrays)
        return arrays

    def _camera(self):
        return camera_arrays(self.scene, self.width, self.height)

    def _hits(self) -> list[PointSet]:
        """The regular grid and the points on outlines."""
        camera, arrays = self._camera(), self.arrays()

        def make():
            grid = sampling.grid_points(arrays, camera, self.window, self.quality, self.workers, self.progress)
            marks = sampling.outline_marks(grid, camera, self.window, self.quality, self.workers)
            pixels = np.flatnonzero(marks)
            edges = sampling.edge_points(arrays, camera, self.window, pixels, self.quality, self.workers)
            return [grid, edges]

        return self.kept.get("hits", (_mesh_key(self.scene), camera, self.quality, self.window), make)

    def _light_of(self, spec) -> LightSource:
        """A projector with its wavelengths and its power; what lies in its gate is seen to apart."""
        return prepared_light.light_source(self.stage.projector(spec), self.quality.n_wavelengths, False)

    def _bitmap_key(self, spec):
        return _json(spec.stencil), _json(spec.gate), _file_stamp(self.scene, spec)

    def _stack_key(self, spec, light):
        return (
            self._bitmap_key(spec),
            _json(spec.lens.pupil),
            light.emitter.outline.kind,
            _pupil_stamp(self.scene, spec),
        )

    def _prepared(self, spec, source: LightSource) -> PreparedLight:
        """The projector with its gate's picture and its stacks; those of equal gates are shared."""

        def drawn():
            return draw_gate(gate_of(spec), bitmap_of(spec, self.scene), self.workers.threads)

        image = self.kept.get_large("gate picture", self._bitmap_key(spec), drawn)
        stacks = self.kept.get_large(
            "stack",
            self._stack_key(spec, source.light),
            lambda: prepared_light.stacks_for(source.light, image, self.workers.threads),
        )
        return PreparedLight(source, image, stacks)

    def _visibility(self, name: str, index: int, spec, light, points):
        """First look and penumbrae of one set of points for one projector."""
        hits = self.kept.serials("hits", "shadow edges" if name == "shadow edges" else "hits")
        sweep = shadows.sweep_of(light, 1e-3 * spec.lens.focal_length_mm)
        shape = (_json(spec.lens.pupil), light.emitter.outline.kind, _pupil_stamp(self.scene, spec))
        squares = self._squares(index, light, points) if name == "grid" else None
        look = self.kept.get_recent(
            f"first look {name} {index}",
            (hits, *_place(light.emitter), shape, sweep),
            lambda: shadows.first_look(
                self.arrays(),
                light.emitter,
                sweep,
                points,
                self.quality.n_side,
                self.workers,
                self.progress,
                squares=squares,
            ),
            min(N_REMEMBERED, max(1, _FIRST_LOOKS // len(self.scene.projector))),
        )
        return self.kept.get(
            f"seen {name} {index}",
            (self.kept.serials(f"first look {name} {index}"), light.emitter.radius),
            lambda: shadows.visibility_from(look, self.arrays(), light.emitter, points, self.workers, self.progress),
        )

    def _squares(self, index: int, light, points):
        """The squares of the grid as one projector sees them."""
        key = (self.kept.serials("hits"), *_place(light.emitter))
        return self.kept.get(
            f"squares {index}",
            key,
            lambda: prepared_light.squares_seen_by(light.emitter, points, self.width * self.quality.grid, self.workers),
        )

    def _layers(self) -> list[tuple[np.ndarray, bool]]:
        """The light of each projector (and of the surroundings) as a picture, and whether it is a flash."""
        hits = self._hits()
        specs = list(self.scene.projector)
        sources = [self._light_of(spec) for spec in specs]
        seen = [self._visibility("grid", i, spec, sources[i].light, hits[0].points) for i, spec in enumerate(specs)]
        sets = [*hits, self._shadow_edges(hits, seen)]
        layers = []
        for i, spec in enumerate(specs):
            seen_by_set = [seen[i]]
            for name, item in zip(("outlines", "shadow edges"), sets[1:], strict=True):
                seen_by_set.append(self._visibility(name, i, spec, sources[i].light, item.points))
            made_from = self.kept.serials(
                "hits", "shadow edges", *(f"seen {name} {i}" for name in ("grid", "outlines", "shadow edges"))
            )
            key = (
                _json(spec),
                _lookup_surroundings(self.scene),
                made_from,
                self._stack_key(spec, sources[i].light),
                sources[i].light.emitter.position,
            )
            layers.append(
                self.kept.get(
                    f"look-ups {i}", key, functools.partial(self._light_layer, i, spec, sources[i], sets, seen_by_set)
                )
            )
        room = room_light(self.stage)
        if room is not None:
            table = self._ambient_table(room)
            key = (table.tobytes(), room.is_flash, self.kept.serials("hits", "shadow edges"))
            layers.append(self.kept.get("ambient", key, lambda: self._ambient_layer(room, table, sets)))
        return layers

    def _reach(self, index: int, light, sets):
        """What a projector's stack has to serve, found once for each set of points and first look."""
        total = prepared_light.NO_REACH
        for name, item in zip(("grid", "outlines", "shadow edges"), sets, strict=True):
            key = self.kept.serials("hits", f"first look {name} {index}")
            make = functools.partial(
                prepared_light.reach_of, light.emitter, item.points, self.kept.peek(f"first look {name} {index}").state
            )
            total = total.joined(self.kept.get(f"reach {name} {index}", key, make))
        return total

    def _shadow_edges(self, hits, seen) -> PointSet:
        """More points in the pixels where a shadow's edge runs."""

        def make():
            grid, outlines = hits
            width, height = self.width * self.quality.grid, (self.window.last - self.window.first) * self.quality.grid
            marks = np.zeros(width * height, np.bool_)
            for visibility in seen:
                shares = seen_shares(visibility)
                shares[visibility.state == UNKNOWN] = 1.0
                self.workers.run_pieces(
                    height,
                    lambda start, stop, shares=shares: mark_steps(
                        shares, grid.points.owners, width, height, SHADOW_STEP, start, stop, marks
                    ),
                    piece=sampling.ROWS_PER_PIECE,
                )
            pixels = sampling.pixels_marked(marks, self.width, self.quality.grid)
            pixels[outlines.pixels] = False
            return sampling.edge_points(
                self.arrays(), self._camera(), self.window, np.flatnonzero(pixels), self.quality, self.workers
            )

        key = self.kept.serials("hits", *(f"seen grid {i}" for i in range(len(seen))))
        return self.kept.get("shadow edges", key, make)

    def _light_layer(self, index, spec, source, sets, seen_by_set):
        """One projector's light over all sets, gathered to a picture."""
        weights = source.weights(reflectances_of(self.scene), prepared_light.XYZ_CHANNELS)
        prepared = self._prepared(spec, source)
        stacks = prepared_light.stacks_ready(prepared, self._reach(index, source.light, sets))
        values = []
        for item, visibility in zip(sets, seen_by_set, strict=True):
            out = np.zeros((item.count, 3), np.float32)
            squares = self._squares(index, source.light, item.points) if item.pixels is None else None
            prepared_light.light_points(
                prepared, item.points, visibility, stacks, weights, out, self.workers, self.progress, squares
            )
            values.append(out)
        return self._gathered(values, sets), source.power.is_flash

    def _ambient_table(self, room: LightLevel) -> np.ndarray:
        """XYZ (k + 1, 3) that each object sends back of the room's light."""
        reflected = (
            reflectances_of(self.scene) * room_spectrum(self.scene, room.level)[None, :]
        ) @ prepared_light.XYZ_CHANNELS
        # The last row, that of NOTHING, is black.
        return np.vstack([reflected, np.zeros((1, 3))]).astype(np.float32)

    def _ambient_layer(self, room: LightLevel, table, sets):
        """The light of the surroundings over all sets, gathered to a picture."""
        return self._gathered([table[item.points.materials] for item in sets], sets), room.is_flash

    def _gathered(self, values, sets):
        return sampling.gathered(values[0], list(zip(sets[1:], values[1:], strict=True)), self._camera(), self.quality)


def _place(emitter):
    """Where an emitter stands, and its turn."""
    return emitter.position, emitter.right, emitter.down, emitter.forward


def _json(model) -> str | None:
    return None if model is None else model.model_dump_json()


def _mesh_key(scene):
    """What the meshes are made from; colours are not among it."""
    exclude = {"reflectance", "colour"}
    stamps = tuple(_stamp(mesh_path(scene, item)) for item in scene.surface if item.shape == "mesh")
    return tuple(item.model_dump_json(exclude=exclude) for item in (*scene.surface, *scene.figure)) + stamps


def _lookup_surroundings(scene):
    """What the look-ups take from the scene besides the projector: reflectances, and the camera where it sets the
    power.
    """
    colours = tuple(str((item.reflectance, item.colour)) for item in (*scene.surface, *scene.figure))
    metered = any(item.reading is None and item.output is None for item in scene.projector)
    return colours, (scene.camera.f_number, scene.camera.iso) if metered else None


def _file_stamp(scene, spec):
    """Which file the stencil is, and how old."""
    return None if spec.stencil is None else _stamp(stencil_path(scene, spec))


def _pupil_stamp(scene, spec):
    """The same of a pupil that is drawn."""
    shape = spec.lens.pupil
    return None if shape is None or shape.file is None else _stamp(pupil_path(scene, shape))


def _stamp(path):
    """A file as it is now: an edited one is read again."""
    stat = path.stat()
    return str(path), stat.st_mtime_ns, stat.st_size
