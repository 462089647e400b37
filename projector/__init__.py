"""See before the shoot how a pattern lands: a gate, a stencil and a lens on a flash or an LED, on this wall and sitter.

How large, how sharp or soft, with what colour fringes, with how much light. Light is traced from every part of the lens
through the stencil onto the meshes of a scene; answers are pictures, maps of light, and millimetres, stops, f-numbers.

A scene is a TOML file (`projector schema` describes it), a shipped scene by its name, or made in code:

>>> import projector
>>> from projector import studies
>>> scene = projector.load("03-cabin-window")
>>> scene
<Scene: 03-cabin-window; 1 projector (window); 1 surface (backdrop); 1 sitter (pilot)>
>>> scene.projector["window"].lens.f_number
1.8

See it. A notebook shows the picture; picture.save("cabin-window") writes a PNG, np.asarray(picture) has the pixels:

>>> projector.preview(scene, width=96, height=72, quality="quick")
<Picture: 03-cabin-window, 96 × 72 pixels, quick>

Change it, as on the command line, by a dict, or by tables; every call that takes a scene takes a path or a name, too:

>>> slower = projector.with_overrides(scene, "camera.shutter_s=1/60", projector={"window": {"lens": {"f_number": 4}}})
>>> slower.camera.shutter_s, slower.projector["window"].lens.f_number
(0.016666666666666666, 4.0)
>>> projector.preview("03-cabin-window", {"camera.iso": 800}, width=96, height=72, quality="quick")
<Picture: 03-cabin-window, 96 × 72 pixels, quick; camera.iso=800>

How much light is where. light.save("backdrop") writes NPZ and TIFF, light.figure() is a figure to change or save:

>>> light = projector.irradiance_map(scene, "backdrop", 96, "quick")
>>> light
<IrradianceMap: backdrop, 4.500 × 2.700 m, 96 × 58 points; at most 17.46 lx·s, f/5.3 at ISO 400, -1.2 stops>

Hold a meter into it, which knows each light alone and all together (meter.lights, meter.together, meter.figure()):

>>> projector.meter(scene, "pilot.left_eye")
<MeterReading: dome at pilot.left_eye: 36.56 lx·s, f/6.3, −0.5 stops against the camera>

Ask by projector's name, and a landmark or a point in metres; `projector.studies` lists all questions:

>>> projector.landing(scene, "window")
<Landing: window on pilot, 2.363 m away: 1.072 × 1.072 m, edges 3.46 mm>
>>> studies.sharpness(scene, "window", "pilot.left_eye")
<Sharpness: window at pilot.left_eye, 2.379 m away: edges 3.68 mm, firm>
>>> studies.sharpness(scene, "window", "pilot.left_eye", within_mm=3).stop
<Stop: f/2.2, 0.6 stops less light>
>>> studies.fringe(scene, "window", "pilot.left_eye")
<Fringe: window at pilot.left_eye: 11.56 mm, 46.3 camera pixels, more than 0.85 mm>
>>> studies.contrast(open_share=0.3, ambient_stops_under=4)
<Contrast: 3.9 stops, 15.3 to 1>
>>> wishes = studies.Wishes(width_m=0.8, edge_mm=5, f_number=4, iso=400, room_m=(5, 6, 2.7))
>>> answers, missed = studies.place("01-square-wall", "window", wishes, lenses=["own"], render=False)
>>> answers[0]
<Answer: own at f/2.8, throw 1.994 m: 0.800 m wide, edges 5.00 mm, +2.7 stops>

Compare. A sheet shows itself in a notebook; sheet.figure().savefig("sheet.pdf") keeps it:

>>> stencils = {"projector.window.stencil.file": ["blinds", "leaves"]}
>>> studies.sheet("01-square-wall", rows=stencils, width=64, height=48)
<Sheet: A window square on a wall, 2 × 1 pictures of 64 × 48 pixels>

Make a scene in code, and keep it as a file that says the same:

>>> from projector import Camera, Gate, Lens, Projector, Reading, Scene, Stencil, Surface
>>> window = Projector(
...     name="window",
...     position_m=[0, 1.5, 2.5],
...     aim="wall.centre",
...     gate=Gate(shape="round", diameter_mm=40),
...     stencil=Stencil(file="window", width_mm=36),
...     lens=Lens(focal_length_mm=85, f_number=2.8),
...     reading=Reading(f_number=8, iso=400, distance_m=2.5),
... )
>>> wall = Surface(name="wall", position_m=[0, 1.5, 0])
>>> mine = Scene(camera=Camera(position_m=[0.9, 1.5, 3.4], aim="wall.centre"), projector=[window], surface=[wall])
>>> projector.load(projector.save_scene(mine, "my-scene.toml")) == mine
True

What cannot be answered raises `SceneError`, with all that is wrong and what to try:

>>> projector.landing(scene, "windw")
Traceback (most recent call last):
projector.faults.SceneError: there is no projector called "windw"
    allowed: window
    try: did you mean window?

Names load on first use, so that `import projector` costs next to nothing.
"""

import lazy_loader

from projector import shown

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def _figure_of(result):
    from projector.reports.drawn import figure_of

    return figure_of(result)


# Reports stand above everything that has results: here they learn who draws them.
shown.figures_by(_figure_of)
