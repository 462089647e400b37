"""A scene held in memory: change something, get the new picture, pay only for what the change touches.

A picture is made in stages (`rendering.stages`), each a function of its inputs alone. A stage is made anew when one of
its inputs is another: that alone decides, and no list of the scene's fields is kept anywhere. What follows from that:

    meshes          the meshes themselves (a surface or a figure added, moved, turned)
    grid, outlines  the camera or the meshes
    first look      the projector's place or turn, its pupil's shape, another half stop, a beam a quarter wider or
                    narrower
    seen            the same, or the f-number: only the points in penumbra are traced again
    gate picture    the stencil or the gate; equal ones are one, in whichever session and thread
    stack           the same, or the pupil's shape; levels are added when a focus asks for them
    look-ups        anything of the lens, focus, stop, colour, source, power; the haze
    seen in haze    the meshes, the camera, the projector's place or turn, its f-number, another beam as above; where
                    the light in the air is uneven, lens, focus and stencil as well
    tone            exposure, ISO, shutter, white balance

A session may be used by one thread at a time; several sessions may work at once, and share their stacks.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np

from projector.optics.dispersion import LINE_D_NM
from projector.photometry.colour import linear_srgb_under_white, white_balance_xyz
from projector.photometry.exposure import picture_scale
from projector.photometry.spectra import N_WAVELENGTHS
from projector.rendering import prepared_light, shadows, stages
from projector.rendering.ambient import LightLevel, room_light, room_spectrum
from projector.rendering.area_light import Rows
from projector.rendering.bounce.layers import Bounces
from projector.rendering.bounce.stages import BAND_CHANNELS, on_cloud, tinted_cloud
from projector.rendering.develop import develop
from projector.rendering.haze.summed import beam_of_sweep
from projector.rendering.haze.view_rays import view_rays
from projector.rendering.kept import STACKS, Kept, Made, Store
from projector.rendering.prepared_light import LightSource, Reach
from projector.rendering.sampling import Window, quality_called
from projector.rendering.skins import Skins, weights_with_lobes
from projector.rendering.stages import Layer, View, Work
from projector.rendering.workers import Progress, Workers
from projector.scene.model import Scene
from projector.stage.haze import air_of
from projector.stage.stage import SceneOrStage, StagedLight, StagedProjector, stage_of
from projector.stage.surfaces import shape_inputs
from projector.tracing.gate.lens_law import Projection
from projector.tracing.light.air import Air
from projector.tracing.sight.emitter import resized

# First looks that are remembered of each light beside the last, and of all lights together (of each at least one).
_REMEMBERED, _FIRST_LOOKS = 3, 8


class RenderSession:
    """Renders one scene again and again. `scene` may be replaced at any time by `change_to`.

    width, height: pixels; quality: "quick" or "fine"; workers: threads to use; window: rows of the picture (all);
    kept: of another session whose windows are of the same picture; stacks: where stacks are kept (one place for all).
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
        stacks: Store = STACKS,
    ):
        self.stage = stage_of(scene)
        self.width, self.height = width, height
        self.quality = quality_called(quality)
        self.workers = workers if workers is not None else Workers()
        self.window = window or Window(0, height)
        self.kept = kept or Kept()
        self.stacks = stacks
        self._is_shown = False
        self._layers: list[Layer] = []

    def change_to(self, scene: SceneOrStage) -> None:
        """Take another scene; what the two share is not made again."""
        self.stage, self._is_shown = stage_of(scene), False

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
        if self._is_shown:
            # The same scene again: its files may have been edited since.
            self.change_to(self.stage.anew())
        self._is_shown = True
        camera = self.scene.camera
        self._layers = self._layers_made(Work(self.workers, progress))
        total = self._sum_of(self._layers)
        self.kept.end_turn()
        white = white_balance_xyz(camera.white_balance_k)
        matrix = linear_srgb_under_white(white) * picture_scale(camera.f_number, camera.iso)
        return total, np.ascontiguousarray(matrix)

    def patterns(self) -> np.ndarray:
        """The share (h, w, 3) of the light that was shown last which comes of projectors: their patterns."""
        return self._sum_of([layer for layer in self._layers if layer.is_pattern])

    def _sum_of(self, layers: list[Layer]) -> np.ndarray:
        """Light of layers together (h, w, 3) float32: flash comes whole within the open shutter, steady light counts
        for as long as it is open.
        """
        shape = (self.window.last - self.window.first, self.width, 3)
        return stages.summed(Work(self.workers, None), layers, shape, self.scene.camera.shutter_s)

    def _layers_made(self, work: Work) -> list[Layer]:
        """The light of each projector, and of the surroundings."""
        view = self._view()
        grid = self.kept.get("grid", partial(stages.grid, work), view)
        outlines = self.kept.get("outlines", partial(stages.outlines, work), (grid, *view))
        lights = [_LightInSession(self, staged, view, work) for staged in self.stage.projectors]
        seen = tuple(light.seen("grid", grid) for light in sorted(lights, key=lambda light: light.name))
        shadow_edges = self.kept.get("shadow edges", partial(stages.shadow_edges, work), (seen, grid, outlines, *view))
        sets = {"grid": grid, "outlines": outlines, "shadow edges": shadow_edges}
        haze = self._haze(view, sets, work)
        layers = [Layer(light.picture(sets, haze), light.source.power.is_flash, True) for light in lights]
        if haze is not None:
            layers += [Layer(light.in_haze(sets, haze), light.source.power.is_flash, False) for light in lights]
        others = self._other_lights(work, view)
        layers += [Layer(light.picture(grid, outlines, haze), light.staged.power.is_flash, False) for light in others]
        if haze is not None:
            in_haze = [(light, light.in_haze((grid, outlines), haze)) for light in others]
            layers += [Layer(picture, light.staged.power.is_flash, False) for light, picture in in_haze]
        room = room_light(self.stage)
        if room is not None:
            inputs: tuple = (self._room_table(room), tuple(sets.values()), view.camera, self.quality)
            inputs += (None, None) if haze is None else (haze.left, haze.air.albedo * self._room_white(room))
            if (skins := self.skins(work)) is not None:
                inputs += (skins.of_even_light(tuple(sets.values()), self._room_white(room)),)
            layers.append(Layer(self.kept.get("ambient", stages.even, inputs).value, room.is_flash, False))
        if self.scene.bounces and view.arrays.value.names:
            bounces = Bounces(self, view, work, sets, None if haze is None else haze.left)
            layers += [Layer(bounces.layer(light), light.staged.power.is_flash, False) for light in (*lights, *others)]
        return layers

    def _haze(self, view: View, sets: dict[str, Made], work: Work) -> _Haze | None:
        air = air_of(self.scene)
        if air is None:
            return None
        rays = self.kept.get("air rays", partial(view_rays, work), (air, self.quality.air, *view))
        if self.stage.lights:
            # Their light in the air is smoother than a pattern's.
            inputs = (air, self.quality.air // 2, *view)
            coarser = self.kept.get("air rays of lights", partial(view_rays, work), inputs)
        else:
            coarser = rays
        left = self.kept.get("left by haze", stages.left_by_haze, (air, tuple(sets.values()), view.camera))
        return _Haze(air, rays, coarser, left)

    def _other_lights(self, work: Work, view: View) -> list[_AreaLightInSession]:
        """Lights without a gate; of one that is off what was found stays at hand."""
        for spec in self.scene.light:
            if not spec.on:
                self.kept.keep(tuple(f"{stage} {spec.name}" for stage in _AreaLightInSession.STAGES))
        return [_AreaLightInSession(self, staged, view, work) for staged in self.stage.lights]

    def skins(self, work: Work) -> Skins | None:
        """The stages of skins; None where all is matte."""
        return None if self.stage.glossy is None else Skins(self.kept, self.stage.glossy, work)

    def _view(self) -> View:
        arrays = self.kept.get("meshes", lambda _: self.stage.arrays, (shape_inputs(self.scene),))
        self.stage = self.stage.with_arrays(arrays.value)
        return View(arrays, self.stage.camera(self.width, self.height), self.window, self.quality)

    def _room_table(self, room: LightLevel) -> np.ndarray:
        """XYZ (k + 1, 3) that each object sends back of the room's light."""
        light = room_spectrum(self.scene, room.level)[None, :]
        reflected = (self.stage.reflectances * light) @ prepared_light.XYZ_CHANNELS
        # The last row, that of NOTHING, is black.
        return np.vstack([reflected, np.zeros((1, 3))]).astype(np.float32)

    def _room_white(self, room: LightLevel) -> np.ndarray:
        """XYZ (3,) that a white object would send back of the room's light."""
        return (room_spectrum(self.scene, room.level) @ prepared_light.XYZ_CHANNELS).astype(np.float32)


class _Haze(NamedTuple):
    """The air of a session's scene, the rays along which projectors' light in it is found and those of other lights,
    and what it leaves of all that is seen.
    """

    air: Air
    rays: Made
    coarser_rays: Made
    left: Made


class _AreaLightInSession:
    """The stages of one light without a gate, kept under its name. What it shines on does not depend on its power or
    colour: a change of these is one multiplication.
    """

    STAGES = (
        *("received grid", "received outlines", "shadow edges", "received shadow edges", "tinted"),
        *("left by haze", "in haze", "seen in haze"),
        *("received cloud", "on cloud", *Bounces.STAGES, *Skins.STAGES),
    )

    def __init__(self, session: RenderSession, staged: StagedLight, view: View, work: Work):
        self.session, self.staged, self.view, self.work = session, staged, view, work

    def _get(self, stage: str, make, inputs: tuple) -> Made:
        return self.session.kept.get(f"{stage} {self.staged.name}", make, inputs)

    def _received(self, name: str, points: Made, rows: Rows | None = None) -> Made:
        inputs = (self.view.arrays, self.staged.shine, points, rows)
        return self._get(f"received {name}", partial(stages.received, self.work), inputs)

    def picture(self, grid: Made, outlines: Made, haze: _Haze | None) -> np.ndarray:
        """Its light (h, w, 3) float32 as a picture, with more points where its own shadows have edges."""
        view, quality = self.view, self.view.quality
        rows = Rows(view.camera.width * quality.grid, view.window.first * quality.grid)
        on_grid = self._received("grid", grid, rows)
        edges = self._get("shadow edges", partial(stages.shadow_edges_of, self.work), (on_grid, grid, outlines, *view))
        sets = (grid, outlines, edges)
        lit = (on_grid, self._received("outlines", outlines), self._received("shadow edges", edges))
        inputs = (self._table(), sets, lit, view.camera, quality)
        left = None if haze is None else self._get("left by haze", stages.left_by_haze, (haze.air, sets, view.camera))
        skins = self.session.skins(self.work)
        of_light = None if skins is None else skins.of_light(self.staged, view.arrays, sets, lit, rows)
        return self._get("tinted", partial(stages.tinted, self.work), (*inputs, left, of_light)).value

    def in_haze(self, sets: tuple[Made, ...], haze: _Haze) -> np.ndarray:
        """What the haze sends to the camera of its light (h, w, 3) float32."""
        inputs = (self.view.arrays, self.staged.shine, haze.air, haze.coarser_rays, *self.view)
        grids = self._get("in haze", partial(stages.shine_in_haze, self.work), inputs)
        inputs = (haze.air, grids, sets, *self.view)
        seen = self._get("seen in haze", partial(stages.hazed_evenly, self.work), inputs).value
        return seen * (self.staged.power.spectrum @ prepared_light.XYZ_CHANNELS).astype(np.float32)

    def _table(self) -> np.ndarray:
        """XYZ (k, 3) that each material sends back of a unit of what it gets."""
        spectra = self.session.stage.reflectances * self.staged.power.spectrum[None, :]
        return np.ascontiguousarray(spectra @ prepared_light.XYZ_CHANNELS)

    @property
    def name(self) -> str:
        """The light's name."""
        return self.staged.name

    def on_cloud(self, cloud: Made, shape: np.ndarray) -> Made:
        """What the places of a cloud send back of its light, band by band, with a spectrum of that shape."""
        table = (self.session.stage.reflectances * shape) @ BAND_CHANNELS
        return self._get("on cloud", tinted_cloud, (table, cloud, self._received("cloud", cloud)))


class _LightInSession:
    """The stages of one projector, kept under its name."""

    def __init__(self, session: RenderSession, staged: StagedProjector, view: View, work: Work):
        self.session, self.staged, self.view, self.work = session, staged, view, work
        self.source: LightSource = prepared_light.light_source(staged, session.quality.n_wavelengths, False)
        # Where it stands, whatever its size.
        self.place = resized(self.source.light.emitter, 1.0)
        # What was asked for in this turn, by stage and set of points.
        self._found: dict[tuple[str, str], Made] = {}

    @property
    def name(self) -> str:
        """The projector's name."""
        return self.staged.name

    def _get(self, stage: str, make, inputs: tuple, count: int = 1) -> Made:
        return self.session.kept.get(f"{stage} {self.name}", make, inputs, count)

    def squares(self, grid: Made) -> Made:
        """The squares of the grid as it sees them."""
        return self._once("squares", "grid", grid, self._squares)

    def first_look(self, name: str, points: Made) -> Made:
        """Who sees all or nothing of it, for every stop and beam near its own."""
        return self._once("first look", name, points, self._first_look)

    def seen(self, name: str, points: Made) -> Made:
        """Who sees how much of it."""
        return self._once("seen", name, points, self._seen)

    def _once(self, stage: str, name: str, points: Made, make) -> Made:
        if (stage, name) not in self._found:
            self._found[stage, name] = make(name, points)
        return self._found[stage, name]

    def _squares(self, _name: str, grid: Made) -> Made:
        width = self.view.camera.width * self.view.quality.grid
        return self._get("squares", partial(stages.squares, self.work), (self.place, grid, width))

    def _first_look(self, name: str, points: Made) -> Made:
        sweep = self._sweep()
        squares = self.squares(points) if name == "grid" else None
        widest = resized(self.source.light.emitter, sweep.radius)
        inputs = (self.view.arrays, widest, sweep, points, self.view.quality.n_side, squares)
        count = min(_REMEMBERED, max(1, _FIRST_LOOKS // len(self.session.scene.projector)))
        return self._get(f"first look {name}", partial(stages.first_look, self.work), inputs, count)

    def _sweep(self) -> shadows.Sweep:
        lens = self.staged.spec.lens
        return shadows.sweep_of(self.source.light, None if lens is None else 1e-3 * lens.focal_length_mm)

    def _seen(self, name: str, points: Made) -> Made:
        inputs = (self.view.arrays, self.source.light.emitter, points, self.first_look(name, points))
        return self._get(f"seen {name}", partial(stages.seen, self.work), inputs)

    def _reach(self, name: str, points: Made) -> Reach:
        return self._get(f"reach {name}", stages.reach, (self.place, points, self.first_look(name, points))).value

    def picture(self, sets: dict[str, Made], haze: _Haze | None) -> np.ndarray:
        """Its light over all sets of points (h, w, 3) float32."""
        reach = prepared_light.NO_REACH
        for name, points in sets.items():
            reach = reach.joined(self._reach(name, points))
        seen = tuple(self.seen(name, points) for name, points in sets.items())
        glossy = self.session.stage.glossy
        made = prepared_light.LightSource.weights if glossy is None else weights_with_lobes
        weights = made(self.source, self.session.stage.reflectances, prepared_light.XYZ_CHANNELS)
        # What is in the gate goes by what it is drawn of: its picture may have been let go and drawn again.
        light = (self.source.light, self.staged.gate_inputs, weights)
        lit = (tuple(sets.values()), seen, self.squares(sets["grid"]), reach, self.view.camera, self.view.quality)
        seen_through = (None if haze is None else haze.left, glossy)
        return self._get("look-ups", self._projected, (*light, *lit, *seen_through)).value

    def _projected(self, _light, _gate_inputs, *inputs) -> np.ndarray:
        return stages.projected(self.work, self._prepare, *inputs)

    def _prepare(self, light: Projection | None = None) -> prepared_light.PreparedLight:
        source = self.source if light is None else replace(self.source, light=light)
        session = self.session
        return prepared_light.with_stacks(source, self.staged, session.stacks, session.workers.threads)

    def on_cloud(self, cloud: Made, shape: np.ndarray) -> Made:
        """What the places of a cloud send back of its light, band by band, with a spectrum of that shape."""
        staged = self.staged
        source = prepared_light.light_source_of_shape(staged, shape, self.session.quality.n_wavelengths)
        weights = source.weights(self.session.stage.reflectances, BAND_CHANNELS)
        lit = (cloud, self.seen("cloud", cloud), self._reach("cloud", cloud))

        def make(_light, _gate_inputs, *inputs) -> np.ndarray:
            stacks, threads = self.session.stacks, self.session.workers.threads
            return on_cloud(self.work, partial(prepared_light.with_stacks, source, staged, stacks, threads), *inputs)

        return self._get("on cloud", make, (source.light, staged.gate_inputs, weights, *lit))

    def in_haze(self, sets: dict[str, Made], haze: _Haze) -> np.ndarray:
        """What the haze sends to the camera of its light (h, w, 3) float32."""
        light, of_gate = self.source.light, self.staged.gate_inputs
        coarse = (haze.rays, self._seen_in_haze("", haze.rays))
        shape = (self.staged.open_light([LINE_D_NM]), of_gate)
        finer = self._get("rays in haze", self._rays_in_haze, (*shape, haze.air, *coarse, *self.view))
        grids = (coarse,) if finer.value is None else ((finer, self._seen_in_haze(", finer", finer, *coarse)), coarse)
        weights = self.source.weights(np.ones((1, N_WAVELENGTHS)), prepared_light.XYZ_CHANNELS)
        # Of one brightness, rounded so that it is the same for any power: that is multiplied in at last.
        brightest = float(weights.max())
        inputs = (light, of_gate, np.round(weights / brightest, 9), haze.air, grids, tuple(sets.values()), *self.view)
        return self._get("look-ups in haze", self._hazed, inputs).value * np.float32(brightest)

    def _seen_in_haze(self, which: str, rays: Made, *coarse: Made) -> Made:
        light = self.source.light
        inputs = (self.view.arrays, light.emitter, beam_of_sweep(self._sweep(), light.nearest), rays, *coarse)
        return self._get(f"seen in haze{which}", partial(stages.seen_in_haze, self.work), inputs)

    def _rays_in_haze(self, light, _gate_inputs, *inputs):
        return stages.rays_in_haze(self.work, partial(self._prepare, light), *inputs)

    def _hazed(self, _light, _gate_inputs, *inputs) -> np.ndarray:
        return stages.hazed(self.work, self._prepare, *inputs)
