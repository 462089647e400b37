"""Commands about size and shape: throw and straighten."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from projector.answers.chosen import chosen_projectors
from projector.answers.size import gate_words, landed_words, outline_words, straight_words
from projector.cli.answers import Answer, answered, loaded_scene
from projector.cli.numbers import number_option, refuse_beside_a_scene, refuse_unused
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With
from projector.cli.studies import Number, Only, figure_path, one_projector
from projector.faults import check_above_zero


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("throw")(throw)
    app.command("straighten")(straighten)


@answered
def throw(
    scene: Annotated[
        Path | None, typer.Argument(help="A scene: the true outline on its surfaces.", show_default=False)
    ] = None,
    focal_length_mm: Annotated[Number, number_option("--focal-length-mm", "Focal length of the lens.")] = None,
    beam_angle_deg: Annotated[
        Number, number_option("--beam-angle-deg", "Nominal full beam angle, instead of a lens.")
    ] = None,
    lit_width_mm: Annotated[Number, number_option("--lit-width-mm", "Lit width of the stencil in the gate.")] = None,
    lit_height_mm: Annotated[Number, number_option("--lit-height-mm", "Lit height (the width if not given).")] = None,
    throw_m: Annotated[Number, number_option("--throw-m", "Distance of lens and wall.")] = None,
    width_m: Annotated[
        Number,
        number_option(
            "--width-m",
            "Wanted width: answers with the lens for a throw, or the throw for a lens, a beam angle or a scene; with a"
            " throw alone, the angle.",
        ),
    ] = None,
    height_m: Annotated[Number, number_option("--height-m", "Wanted height beside the wanted width.")] = None,
    travel_mm: Annotated[
        Number, number_option("--travel-mm", "Lens travel past infinity: answers with the nearest focus.")
    ] = None,
    f_number: Annotated[
        Number,
        number_option("--f-number", "With --travel-mm and --throw-m: the blur where the lens cannot focus so near."),
    ] = None,
    to_m: Annotated[
        Number, number_option("--to-m", "With lens and throw: how size and light change on moving there.")
    ] = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """Size: lens, gate and throw to pattern width, and back; on a scene's surfaces the true outline."""
    from projector import studies as study

    numbers = {
        "focal_length_mm": focal_length_mm,
        "beam_angle_deg": beam_angle_deg,
        "lit_width_mm": lit_width_mm,
        "lit_height_mm": lit_height_mm,
        "throw_m": throw_m,
        "height_m": height_m,
        "travel_mm": travel_mm,
        "f_number": f_number,
        "to_m": to_m,
    }
    check_above_zero(**numbers, width_m=width_m)
    others = {"out": out, "overwrite": overwrite}
    if scene is not None:
        refuse_beside_a_scene(numbers, "--width-m for how far back; --with changes a value of the scene")
        refuse_unused(
            others,
            (),
            "throw draws figures of numbers, not of a scene",
            "projector map my-scene.toml -o light draws where the light lands",
        )
        return _throw_in_scene(scene, with_, width_m)
    question, used, why = _question(numbers, width_m)
    given = {**numbers, "width_m": width_m, "with": with_, **others}
    refuse_unused(
        given,
        (*used, *(others if question == "size" else ())),
        why,
        f"leave it out; or ask for a size: {_SIZE_EXAMPLE}",
    )
    if question == "beam":
        return _nominal_beam(study, beam_angle_deg, throw_m, width_m)
    if question == "angle":
        return _beam_angle(study, throw_m, width_m)
    if question == "nearest":
        return _nearest_focus(study, focal_length_mm, travel_mm, throw_m, f_number)
    if question == "moved":
        return _moved(study, focal_length_mm, throw_m, to_m)
    if question == "tube":
        return _tube(study, focal_length_mm, throw_m)
    return _size(study, numbers, width_m, out, overwrite)


_SIZE_EXAMPLE = "projector throw --focal-length-mm 85 --lit-width-mm 28 --throw-m 2.5"


def _question(numbers: dict, width_m) -> tuple[str, tuple[str, ...], str]:
    """What is asked by the numbers given, the options that its answer goes by, and why it goes by no others."""
    given = {name for name, value in numbers.items() if value is not None}
    if "beam_angle_deg" in given:
        # Angle and throw make the width, angle and width the throw: all three would be two statements of one thing.
        one = "throw_m" if "throw_m" in given else "width_m"
        return (
            "beam",
            ("beam_angle_deg", one),
            "a beam angle stands for lens and gate, and with a throw it says the width, with a width the throw",
        )
    if width_m is not None and "throw_m" in given and not given & {"lit_width_mm", "focal_length_mm"}:
        return (
            "angle",
            ("throw_m", "width_m"),
            "a width and a throw alone say the beam's angle; a lens needs the lit width too",
        )
    if {"focal_length_mm", "travel_mm"} <= given and "lit_width_mm" not in given:
        used = ("focal_length_mm", "travel_mm", "throw_m") + (("f_number",) if "throw_m" in given else ())
        return (
            "nearest",
            used,
            (
                "lens and travel say how near it focuses, with a throw and a stop also the blur there, and without a"
                " lit width no size"
            ),
        )
    if {"focal_length_mm", "throw_m", "to_m"} <= given:
        return (
            "moved",
            ("focal_length_mm", "throw_m", "to_m"),
            (
                "from one throw to another the pattern grows the same way whatever is in the gate, and there is no"
                " figure of it"
            ),
        )
    if {"focal_length_mm", "throw_m"} <= given and "lit_width_mm" not in given:
        return (
            "tube",
            ("focal_length_mm", "throw_m"),
            "lens and throw alone say the tube and the magnification; a size needs the lit width too",
        )
    used = ("focal_length_mm", "lit_width_mm", "lit_height_mm", "throw_m", "width_m", "travel_mm")
    used += ("f_number",) if "travel_mm" in given else ()
    used += ("height_m",) if width_m is not None and "focal_length_mm" not in given else ()
    return (
        "size",
        used,
        (
            "the answer goes by lens, lit size, throw and wanted width, a wanted height only where it finds the lens, a"
            " stop only with --travel-mm"
        ),
    )


def _size(study, numbers: dict, width_m, out, overwrite) -> Answer:
    """The size that lens, gate and throw make, forwards or backwards."""
    focal_length_mm, throw_m, travel_mm, f_number = (
        numbers[name] for name in ("focal_length_mm", "throw_m", "travel_mm", "f_number")
    )
    found = _found(study, numbers, width_m)
    result = asdict(found)
    words = [
        f"{found.lit_width_mm:g} mm through {found.focal_length_mm:.2f} mm at {found.throw_m:.3f} m:"
        f" {found.width_m:.3f} × {found.height_m:.3f} m (× {found.magnification:.2f}), tube {found.tube_length_mm:.2f}"
        f" mm, beam {found.beam_angle_deg:.1f}° full, its edge {found.edge_stops:+.2f} stops"
    ]
    if throw_m is not None and focal_length_mm is not None and width_m is not None:
        result["stops_against_throw"] = study.stops_for_distance(throw_m, found.throw_m)
        words.append(f"that is {result['stops_against_throw']:+.2f} stops against {throw_m:g} m")
    if travel_mm is not None:
        reach = _nearest_focus(study, found.focal_length_mm, travel_mm, found.throw_m, f_number)
        result |= reach.result
        words += reach.words
    return _with_throw_figure(study, found, result, words, out, overwrite)


def _found(study, numbers: dict, width_m):
    """Forwards or backwards, by what is given. SceneError if it is not enough."""
    from projector.faults import Fault, SceneError

    focal_length_mm, lit_width_mm, lit_height_mm, throw_m = (
        numbers[name] for name in ("focal_length_mm", "lit_width_mm", "lit_height_mm", "throw_m")
    )
    if lit_width_mm is not None and width_m is not None and throw_m is not None and focal_length_mm is None:
        return study.lens_for(width_m, lit_width_mm, throw_m, numbers["height_m"], lit_height_mm)
    if lit_width_mm is not None and width_m is not None and focal_length_mm is not None:
        return study.place_for(width_m, lit_width_mm, focal_length_mm, lit_height_mm)
    if lit_width_mm is not None and focal_length_mm is not None and throw_m is not None:
        return study.throw(focal_length_mm, lit_width_mm, throw_m, lit_height_mm)
    raise SceneError(
        Fault(
            found="not enough to answer from",
            allowed=(
                "a scene; or lens and throw, and lit width for the size; or wanted width, lit width and throw; or"
                " wanted width, lit width and lens; or a wanted width and the throw alone, for the beam's angle; or a"
                " beam angle, with a throw or a wanted width; or lens and travel"
            ),
            try_=_SIZE_EXAMPLE,
        )
    )


def _beam(study, beam_angle_deg: float, printed: str) -> tuple[dict, list[str]]:
    """What an angle alone says of a beam."""
    like, nearest, edge = (
        study.camera_lens_like(beam_angle_deg),
        study.common_lens_like(beam_angle_deg),
        study.edge_stops(beam_angle_deg),
    )
    result = {"camera_lens_like_mm": like, "common_lens_mm": nearest, "edge_stops": edge}
    return result, [
        (
            f"on 36 × 24 mm a lens of {like:.1f} mm sees a beam of {printed}° over its diagonal; the nearest common one"
            f" is {nearest:g} mm"
        ),
        f"evenly lit, its edge is {edge:+.2f} stops against its middle",
    ]


def _beam_angle(study, throw_m, width_m) -> Answer:
    angle = study.beam_angle(width_m, throw_m)
    result, words = _beam(study, angle, f"{angle:.1f}")
    return Answer(
        {"beam_angle_deg": angle, **result},
        [f"{width_m:g} m wide at {throw_m:g} m: a beam of {angle:.1f}° full", *words],
    )


def _nominal_beam(study, beam_angle_deg, throw_m, width_m) -> Answer:
    result, words = _beam(study, beam_angle_deg, f"{beam_angle_deg:g}")
    if throw_m is not None:
        result["width_m"] = study.nominal_width(beam_angle_deg, throw_m)
        words.insert(0, f"a beam of {beam_angle_deg:g}° is {result['width_m']:.3f} m wide at {throw_m:g} m")
    elif width_m is not None:
        # The width grows in proportion to the throw.
        result["throw_m"] = width_m / study.nominal_width(beam_angle_deg, 1.0)
        words.insert(0, f"a beam of {beam_angle_deg:g}° is {width_m:g} m wide at {result['throw_m']:.3f} m")
    return Answer(result, words)


def _tube(study, focal_length_mm, throw_m) -> Answer:
    found = study.throw(focal_length_mm, 1.0, throw_m)
    result = {"tube_length_mm": found.tube_length_mm, "magnification": found.magnification}
    return Answer(
        result,
        [
            f"{focal_length_mm:g} mm focused at {throw_m:g} m: tube {found.tube_length_mm:.2f} mm,"
            f" {found.magnification:.2f} times as large as the stencil"
        ],
    )


def _nearest_focus(study, focal_length_mm, travel_mm, throw_m, f_number) -> Answer:
    """How near a lens focuses and, asked for nearer than that, the blur there at full travel."""
    nearest = study.nearest_focus(focal_length_mm, travel_mm)
    result = {"nearest_focus_m": nearest}
    words = [f"{focal_length_mm:.5g} mm with {travel_mm:g} mm of travel focuses from {nearest:.3f} m"]
    if throw_m is None:
        return Answer(result, words)
    result["can_focus"] = study.can_focus(focal_length_mm, travel_mm, throw_m)
    words.append(f"{throw_m:.4g} m is within reach" if result["can_focus"] else f"it cannot focus at {throw_m:.4g} m")
    if f_number is not None:
        result["blur_mm"] = study.blur_out_of_reach(focal_length_mm, travel_mm, throw_m, f_number)
    if f_number is not None and not result["can_focus"]:
        words[-1] += f": at full travel the blur there is {result['blur_mm']:.2g} mm at f/{f_number:g}"
    return Answer(result, words)


def _moved(study, focal_length_mm, throw_m, to_m) -> Answer:
    untouched, refocused = study.refocused_growth(focal_length_mm, throw_m, to_m)
    stops = study.stops_for_distance(throw_m, to_m)
    words = [
        f"from {throw_m:g} to {to_m:g} m: {untouched:.3f} times as wide with the tube untouched, {refocused:.3f} times"
        f" after refocusing, {stops:+.2f} stops"
    ]
    return Answer({"growth_untouched": untouched, "growth_refocused": refocused, "stops": stops}, words)


def _with_throw_figure(study, found, result, words, out, overwrite) -> Answer:
    path = figure_path(out)
    if path is None:
        return Answer(result, words)
    from projector.cli.answers import version
    from projector.reports.save import save_figure
    from projector.reports.study_figures import throw_figure

    about = {
        "program": "projector",
        "version": version(),
        "command": "throw",
        "scene": "throw",
        "settings": {"focal_length_mm": found.focal_length_mm, "lit_width_mm": found.lit_width_mm},
    }
    save_figure(throw_figure(study, found.focal_length_mm, found.lit_width_mm, found.throw_m), path, about, overwrite)
    return Answer(result, words, [path])


def _throw_in_scene(path: Path, with_, width_m) -> Answer:
    from projector import studies as study
    from projector.stage.stage import Stage
    from projector.studies.size import landed_light as light_study
    from projector.studies.size.landing import landing

    scene, warnings = loaded_scene(path, with_)
    stage = Stage(scene)
    rows, words = [], []
    for spec in chosen_projectors(scene, None):
        formula, opening, landed = (
            landing(stage, spec),
            light_study.opening(stage, spec),
            light_study.landed_light(stage, spec),
        )
        # A sitter has no outline: what goes past one is followed on the surface that gets most of it.
        surfaces = {item.name: item.share for item in landed if item.sitter is None}
        on = formula.lands_on if formula.lands_on in surfaces else max(surfaces, key=surfaces.get, default=None)
        outline = study.landed_outline(stage, spec, on=on)
        row = {
            "projector": spec.name,
            "lands_on": outline.lands_on,
            "no_light": formula.no_light,
            "throw_m": formula.throw_m,
            "square_width_m": formula.pattern_width_m,
            "square_height_m": formula.pattern_height_m,
            "magnification": formula.magnification,
            "tube_length_mm": formula.tube_length_mm,
            "opening": asdict(opening),
            "light_on": [asdict(item) for item in landed],
            "missed_share": 1.0 - sum(item.share for item in landed if item.name == formula.lands_on),
            "outline_on": outline.on,
            "width_m": outline.width_m,
            "height_m": outline.height_m,
            "top_right_bottom_left_m": list(outline.sides_m),
            "top_right_bottom_left_stops": list(outline.side_stops),
            "keystone_across": outline.keystone_across,
            "keystone_up": outline.keystone_up,
            "goes_on": outline.goes_on,
            "outline_m": outline.points[::10],
            "in_the_gate": {"turned_deg": 180.0, "mirrored": False},
        }
        dark = [] if formula.no_light is None else [f"no light of it falls where its axis lands; {formula.no_light}"]
        words += [
            f"{spec.name}: {line}"
            for line in (*dark, *landed_words(landed), *outline_words(outline, formula, landed), *gate_words(opening))
        ]
        if width_m is not None:
            row["wanted"] = _further_back(study, spec, formula, width_m)
            words.append(
                "{0}: {1[width_m]:g} m wide square to the beam at {1[throw_m]:.3f} m, {1[back_m]:+.3f} m from where it"
                " stands, {1[stops]:+.2f} stops".format(spec.name, row["wanted"])
            )
        rows.append(row)
    return Answer({"projectors": rows}, words, [], warnings)


def _further_back(study, spec, formula, width_m) -> dict:
    """Where a projector would throw a wanted width, refocused there, and what going there costs."""
    lit_width_mm = 1e3 * formula.pattern_width_m / formula.magnification
    throw_m = study.place_for(width_m, lit_width_mm, spec.lens.focal_length_mm).throw_m
    return {
        "width_m": width_m,
        "throw_m": throw_m,
        "back_m": throw_m - formula.throw_m,
        "stops": study.stops_for_distance(formula.throw_m, throw_m),
    }


@answered
def straighten(
    scene: SceneArgument,
    projector: Only = None,
    keep_size: Annotated[
        bool,
        typer.Option(
            "--keep-size",
            help=(
                "As large as on a wall square to the beam, even if the gate cuts some of it off; else as large as goes"
                " whole."
            ),
        ),
    ] = False,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """Draw the stencil that lands straight on a tilted wall: a PNG to put in the old one's place."""
    import numpy as np

    from projector.faults import Fault, SceneError
    from projector.files.records import check_writable, default_name, place_faults, record, write_png
    from projector.photometry.colour import encode_srgb
    from projector.scene.placement import stencil_path
    from projector.studies.size.straightened import straightened

    loaded, warnings = loaded_scene(scene, with_)
    spec = one_projector(loaded, projector)
    path = figure_path(out) or Path(f"{default_name(loaded)}-straight.png")
    if path.suffix != ".png":
        raise SceneError(
            Fault(found=f"{path} is not a PNG", allowed="a name that ends in .png, or none", file=str(path))
        )
    if (
        spec.stencil is not None
        and not place_faults([path])
        and path.exists()
        and path.samefile(stencil_path(loaded, spec))
    ):
        raise SceneError(
            Fault(
                found=f"{path} is the stencil that {spec.name} has in its gate",
                allowed="another name, or the stencil as it was drawn",
                try_="-o with another name",
                file=str(path),
            )
        )
    check_writable([path], loaded.name, overwrite)
    new = straightened(loaded, spec, keep_size=keep_size)
    # Written in the old stencil's own terms, so that only the file's name changes in the scene.
    values = 1.0 - new.transmission if spec.stencil.inverted else new.transmission
    values = encode_srgb(values) if spec.stencil.grey == "glass" else values
    write_png(
        path,
        np.round(255.0 * np.clip(values, 0.0, 1.0)).astype(np.uint8),
        record(loaded, "straighten", projector=spec.name),
    )
    result = {
        "projector": spec.name,
        "wall": new.wall,
        "width_m": new.open_width_m,
        "height_m": new.open_height_m,
        "size_factor": new.size_factor,
        "cut_share": new.cut_share,
        "stencil_width_mm": new.stencil_width_mm,
        "bitmap_width_m": new.width_m,
        "bitmap_height_m": new.height_m,
        "bitmap_corners_m": new.corners_m.tolist(),
        "bitmap_corners_in_gate_mm": new.corners_mm.tolist(),
    }
    return Answer(result, straight_words(spec, new, path, keep_size), [path], warnings)
