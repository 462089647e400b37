"""Commands that answer questions: throw, sharpness, fringe."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Optional

import typer

from projector.cli.answers import Answer, answered, loaded_scene
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With

At = Annotated[Optional[list[str]], typer.Option("--at", help='Landmark or point: sitter.left_eye, or "0.1,1.5,-0.9" in metres. May be repeated (default: each projector\'s focus).', show_default=False)]
Only = Annotated[Optional[str], typer.Option("--projector", help="Only this projector (default: all).", show_default=False)]
Number = Optional[float]


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("throw")(throw)
    app.command("sharpness")(sharpness)
    app.command("fringe")(fringe)
    app.command("contrast")(contrast)


def point_from(text: str):
    """A landmark's name, or a point (x, y, z) in metres from "x,y,z"."""
    parts = text.split(",")
    if len(parts) == 3:
        try:
            return tuple(float(part) for part in parts)
        except ValueError:
            pass
    return text


def chosen_projectors(scene, name: str | None):
    """The projectors to answer for. SceneError for an unknown name, or a scene without any."""
    from projector.scene.faults import Fault, SceneError

    found = [spec for spec in scene.projector if name is None or spec.name == name]
    if not found:
        known = ", ".join(spec.name for spec in scene.projector) or "none in this scene"
        raise SceneError(Fault(found=f'there is no projector "{name}"' if name else "the scene has no projector", allowed=known))
    return found


def points_for(spec, at):
    """The points asked for, else what the projector is focused on or aims at."""
    if at:
        return [point_from(text) for text in at]
    return [spec.focus.at if spec.focus.at is not None else spec.aim]


def figure_path(out: Path | None) -> Path | None:
    """Where a figure goes; .png unless another ending is given."""
    return None if out is None else out if out.suffix in (".png", ".pdf") else out.with_name(out.name + ".png")


def _option(name: str, text: str):
    return typer.Option(name, help=text, show_default=False)


@answered
def throw(
    scene: Annotated[Optional[Path], typer.Argument(help="A scene: the true outline on its surfaces.", show_default=False)] = None,
    focal_length_mm: Annotated[Number, _option("--focal-length-mm", "Focal length of the lens.")] = None,
    beam_angle_deg: Annotated[Number, _option("--beam-angle-deg", "Nominal full beam angle, instead of a lens.")] = None,
    lit_width_mm: Annotated[Number, _option("--lit-width-mm", "Lit width of the stencil in the gate.")] = None,
    lit_height_mm: Annotated[Number, _option("--lit-height-mm", "Lit height (the width if not given).")] = None,
    throw_m: Annotated[Number, _option("--throw-m", "Distance of lens and wall.")] = None,
    width_m: Annotated[Number, _option("--width-m", "Wanted width: answers with the lens for a throw, or the throw for a lens.")] = None,
    height_m: Annotated[Number, _option("--height-m", "Wanted height beside the wanted width.")] = None,
    travel_mm: Annotated[Number, _option("--travel-mm", "Lens travel past infinity: answers with the nearest focus.")] = None,
    f_number: Annotated[Number, _option("--f-number", "With --travel-mm and --throw-m: the blur where the lens cannot focus so near.")] = None,
    to_m: Annotated[Number, _option("--to-m", "With lens and throw: how size and light change on moving there.")] = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """Size: lens, gate and throw to pattern width, and back; on a scene's surfaces the true outline."""
    from projector.scene.faults import Fault, SceneError
    from projector.studies import throw as study

    if scene is not None:
        return _throw_in_scene(scene, with_)
    if beam_angle_deg is not None and throw_m is not None:
        width = study.nominal_width(beam_angle_deg, throw_m)
        like = study.camera_lens_like(beam_angle_deg)
        return Answer(
            {"width_m": width, "camera_lens_like_mm": like},
            [f"a beam of {beam_angle_deg:g}° is {width:.3f} m wide at {throw_m:g} m; on 36 × 24 mm a lens of {like:.1f} mm sees that angle over its diagonal"],
        )
    if focal_length_mm is not None and travel_mm is not None and lit_width_mm is None:
        return _nearest_focus(study, focal_length_mm, travel_mm, throw_m, f_number)
    if focal_length_mm is not None and throw_m is not None and to_m is not None:
        return _moved(study, focal_length_mm, throw_m, to_m)
    if lit_width_mm is not None and width_m is not None and throw_m is not None and focal_length_mm is None:
        found = study.lens_for(width_m, lit_width_mm, throw_m, height_m, lit_height_mm)
    elif lit_width_mm is not None and width_m is not None and focal_length_mm is not None:
        found = study.place_for(width_m, lit_width_mm, focal_length_mm, lit_height_mm)
    elif lit_width_mm is not None and focal_length_mm is not None and throw_m is not None:
        found = study.throw(focal_length_mm, lit_width_mm, throw_m, lit_height_mm)
    else:
        raise SceneError(
            Fault(
                found="not enough to answer from",
                allowed="a scene; or lens, lit width and throw; or wanted width, lit width and throw; or wanted width, lit width and lens; or beam angle and throw; or lens and travel",
                try_="projector throw --focal-length-mm 85 --lit-width-mm 28 --throw-m 2.5",
            )
        )
    result = asdict(found)
    words = [
        f"{found.lit_width_mm:g} mm through {found.focal_length_mm:.2f} mm at {found.throw_m:.3f} m: {found.width_m:.3f} × {found.height_m:.3f} m"
        f" (× {found.magnification:.2f}), tube {found.tube_length_mm:.2f} mm, beam {found.beam_angle_deg:.1f}° full"
    ]
    if throw_m is not None and focal_length_mm is not None and width_m is not None:
        result["stops_against_throw"] = study.stops_for_distance(throw_m, found.throw_m)
        words.append(f"that is {result['stops_against_throw']:+.2f} stops against {throw_m:g} m")
    if travel_mm is not None:
        result["nearest_focus_m"] = study.nearest_focus(found.focal_length_mm, travel_mm)
        words.append(f"with {travel_mm:g} mm of travel it focuses from {result['nearest_focus_m']:.3f} m")
    return _with_throw_figure(study, found, result, words, out, overwrite)


def _nearest_focus(study, focal_length_mm, travel_mm, throw_m, f_number) -> Answer:
    """How near a lens focuses and, asked for nearer than that, the blur there at full travel."""
    nearest = study.nearest_focus(focal_length_mm, travel_mm)
    result = {"nearest_focus_m": nearest}
    words = [f"{focal_length_mm:g} mm with {travel_mm:g} mm of travel focuses from {nearest:.3f} m"]
    if throw_m is not None and f_number is not None:
        result["blur_mm"] = study.blur_out_of_reach(focal_length_mm, travel_mm, throw_m, f_number)
        can = throw_m >= nearest
        words.append(f"{throw_m:g} m is within reach" if can else f"it cannot focus at {throw_m:g} m: at full travel the blur there is {result['blur_mm']:.1f} mm at f/{f_number:g}")
    return Answer(result, words)


def _moved(study, focal_length_mm, throw_m, to_m) -> Answer:
    untouched, refocused = study.refocused_growth(focal_length_mm, throw_m, to_m)
    stops = study.stops_for_distance(throw_m, to_m)
    words = [f"from {throw_m:g} to {to_m:g} m: {untouched:.3f} times as wide with the tube untouched, {refocused:.3f} times after refocusing, {stops:+.2f} stops"]
    return Answer({"growth_untouched": untouched, "growth_refocused": refocused, "stops": stops}, words)


def _with_throw_figure(study, found, result, words, out, overwrite) -> Answer:
    path = figure_path(out)
    if path is None:
        return Answer(result, words)
    from projector.cli.answers import version
    from projector.reports.save import save_figure
    from projector.reports.study_figures import throw_figure

    about = {"program": "projector", "version": version(), "command": "throw", "scene": "throw", "settings": {"focal_length_mm": found.focal_length_mm, "lit_width_mm": found.lit_width_mm}}
    save_figure(throw_figure(study, found.focal_length_mm, found.lit_width_mm, found.throw_m), path, about, overwrite)
    return Answer(result, words, [path])


def _throw_in_scene(path: Path, with_) -> Answer:
    from projector.studies.landing import landing
    from projector.studies.throw import landed_outline
    from projector.tracing.arrays import scene_arrays

    scene, warnings = loaded_scene(path, with_)
    arrays = scene_arrays(scene)
    rows, words = [], []
    for spec in chosen_projectors(scene, None):
        outline, formula = landed_outline(scene, spec, arrays), landing(scene, spec, arrays)
        rows.append(
            {
                "projector": spec.name, "lands_on": outline.lands_on, "throw_m": formula.throw_m, "square_width_m": formula.pattern_width_m, "square_height_m": formula.pattern_height_m,
                "width_m": outline.width_m, "height_m": outline.height_m, "top_right_bottom_left_m": list(outline.sides_m), "keystone_across": outline.keystone_across,
                "keystone_up": outline.keystone_up, "missed_share": outline.missed_share, "outline_m": outline.points[::10],
            }
        )  # fmt: skip
        def metres(value):
            return f"{value:.3f} m" if math.isfinite(value) else "partly off the surface"

        words.append(f"{spec.name}: on {outline.lands_on or 'nothing'}, {metres(outline.width_m)} by {metres(outline.height_m)} across its middle ({formula.pattern_width_m:.3f} × {formula.pattern_height_m:.3f} m square to the beam)")
        words.append(f"{spec.name}: sides " + ", ".join(f"{name} {metres(value)}" for name, value in zip(("top", "right", "bottom", "left"), outline.sides_m, strict=True)) + f"; {outline.missed_share:.0%} lands elsewhere")
        if math.isfinite(outline.keystone_across) and math.isfinite(outline.keystone_up):
            words.append(f"{spec.name}: keystone, left to right {outline.keystone_across:.3f}, top to bottom {outline.keystone_up:.3f}")
        words.append(f"{spec.name}: in the gate the stencil goes in turned by 180°, as seen from the lamp; face-about it lands mirrored")
    return Answer({"projectors": rows}, words, [], warnings)


@answered
def sharpness(
    scene: SceneArgument,
    at: At = None,
    within_mm: Annotated[Number, _option("--within-mm", "Edge width to give the depth for.")] = None,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """How soft edges land at points you name, what limits them, which detail survives; -o draws width over focus offset."""
    import numpy as np

    from projector.cli.answers import progress_shown
    from projector.studies import sharpness as study
    from projector.tracing.arrays import scene_arrays

    loaded, warnings = loaded_scene(scene, with_)
    progress_shown()
    arrays = scene_arrays(loaded)
    rows, words, curves = [], [], []
    for spec in chosen_projectors(loaded, projector):
        for reference in points_for(spec, at):
            found = study.sharpness(loaded, spec, reference, within_mm, arrays)
            rows.append(asdict(found))
            words += _sharpness_words(found)
            if out is not None:
                span = max(1.0, abs(spec.focus.offset_mm) * 1.5, *(1.3 * abs(blade.offset_mm) for blade in spec.blade)) if spec.blade else max(1.0, abs(spec.focus.offset_mm) * 1.5)
                curves.append(study.focus_curve(loaded, spec, reference, np.linspace(-span, span, 31), arrays))
    path = figure_path(out)
    if path is not None:
        from projector.rendering.files import record
        from projector.reports.save import save_figure
        from projector.reports.study_figures import focus_figure

        save_figure(focus_figure(curves, ", ".join(spec.name for spec in chosen_projectors(loaded, projector))), path, record(loaded, "sharpness"), overwrite)
    words.append("words: " + "; ".join(f"{word}: {meaning}" for word, meaning in study.WORDS.items()))
    return Answer({"points": rows, "words": study.WORDS}, words, [path] if path else [], warnings)


def _sharpness_words(found) -> list[str]:
    words = [
        f"{found.projector} at {found.at} ({found.distance_m:.3f} m): {found.word}; edges rise in {found.edge_across_mm:.2f} mm across the tilt, {found.edge_along_mm:.2f} mm along it"
        f" (measured {found.measured_across_mm:.2f} and {found.measured_along_mm:.2f}); blur disc {found.blur_disc_mm:.2f} mm",
        f"    limited by {found.limits[0].cause} ({found.limits[0].edge_mm:.2f} mm), then {found.limits[1].cause} ({found.limits[1].edge_mm:.2f} mm); a camera pixel is {found.camera_pixel_mm:.2f} mm",
    ]
    if found.detail_mm is not None:
        words.append(f"    the pattern's own fine detail is {found.detail_mm:.1f} mm and keeps {found.detail_contrast:.0%} of its contrast; lines of {found.smallest_mm:.1f} mm keep 10 %")
    if found.depth_m is not None:
        words.append(f"    edges stay within {found.wanted_mm:g} mm from {found.depth_m[0]:.3f} to {found.depth_m[1]:.3f} m")
    return words


@answered
def fringe(
    scene: SceneArgument,
    at: At = None,
    lens: Annotated[Optional[list[str]], typer.Option("--lens", help="A lens file to compare with. May be repeated.", show_default=False)] = None,
    tolerance_arcmin: Annotated[float, typer.Option("--tolerance-arcmin", help="What may pass, in arc-minutes from the camera.")] = 1.0,
    tolerance_pixels: Annotated[float, typer.Option("--tolerance-pixels", help="What may pass, in camera pixels; the larger of the two counts.")] = 1.0,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """How wide and of what colour fringes are at points you name, whether they pass, what would cure them; -o draws edges of lenses."""
    from projector.studies import fringe as study
    from projector.tracing.arrays import scene_arrays

    loaded, warnings = loaded_scene(scene, with_)
    arrays = scene_arrays(loaded)
    rows, words, strips = [], [], []
    for spec in chosen_projectors(loaded, projector):
        for reference in points_for(spec, at):
            for name, item in [("as it is", spec), *((name, study.with_lens(loaded, spec, name)) for name in lens or ())]:
                found = study.fringe(loaded, item, reference, tolerance_arcmin, tolerance_pixels, name, arrays)
                cures = [] if found.passes else study.cures(loaded, item, reference, found, arrays)
                rows.append({**asdict(found), "cures": [asdict(cure) for cure in cures]})
                words += _fringe_words(found, cures)
                if out is not None:
                    strips.append(_strip(loaded, item, reference, found, arrays))
    path = figure_path(out)
    if path is not None:
        from projector.rendering.files import record
        from projector.reports.save import save_figure
        from projector.reports.study_figures import lens_strip_figure

        span = max(1.3 * max(abs(strip[1][0]) for strip in strips) / 1.2, 1e-3)
        save_figure(lens_strip_figure(strips, span, "Edges as the camera sees them, magnified"), path, record(loaded, "fringe"), overwrite)
    return Answer({"points": rows}, words, [path] if path else [], warnings)


def _strip(scene, spec, reference, found, arrays):
    from projector.studies.edge_profile import camera_pixel_at, edge_by_formula, full_spectrum, place_on_surface
    from projector.studies.fringe import edge_colours

    light, weights = full_spectrum(scene, spec)
    place = place_on_surface(scene, light, arrays, reference)
    colours = edge_colours(scene, edge_by_formula(light, place, "across"), weights, 1e3 * camera_pixel_at(scene, place.point))
    return f"{spec.name}, {found.lens}, f/{spec.lens.f_number:g}, {found.at}", colours.positions_mm, colours.linear_rgb, f"fringe {found.width_mm:.2f} mm, ΔE {found.largest_delta_e:.0f}"


def _fringe_words(found, cures) -> list[str]:
    verdict = "passes" if found.passes else "does not pass"
    words = [
        f"{found.projector} at {found.at} ({found.lens}): {verdict}; fringe {found.width_mm:.2f} mm = {found.arc_minutes:.1f} arc-minutes = {found.camera_pixels:.1f} camera pixels"
        f" (axial {found.axial_mm:.2f}, lateral {found.lateral_mm:.2f} mm; allowed {found.tolerance_mm:.2f} mm)",
        f"    dark side {found.dark_side[1]} {found.dark_side[0]}, bright side {found.bright_side[1]} {found.bright_side[0]}, largest ΔE*ab {found.largest_delta_e:.0f}",
    ]
    words += [f"    {cure.what}, {cure.value}: {cure.width_mm:.2f} mm" + (f", costs {cure.cost_stops:.1f} stops" if cure.cost_stops > 0.0 else "") for cure in cures]
    return words


@answered
def contrast(
    scene: Annotated[Optional[Path], typer.Argument(help="A scene: its stencils and its ambient light.", show_default=False)] = None,
    open_share: Annotated[Number, _option("--open-share", "Open share of the stencil, instead of a scene.")] = None,
    ambient_stops_under: Annotated[Number, _option("--ambient-stops-under", "Other light, in stops under the pattern (default: the scene's).")] = None,
    lens_reflectance: Annotated[float, typer.Option("--lens-reflectance", help="Share of light that the lens sends back.")] = 0.04,
    stencil_reflectance: Annotated[float, typer.Option("--stencil-reflectance", help="Share that the stencil's front sends forward again.")] = 0.60,
    projector: Only = None,
    with_: With = None,
    json: Json = False,
) -> Answer:
    """How grey the black parts of the pattern land: stray light between lens and stencil, and other light in the room."""
    from projector.scene.faults import Fault, SceneError
    from projector.studies import contrast as study

    if (scene is None) == (open_share is None):
        raise SceneError(Fault(found="neither or both of a scene and an open share", allowed="one of them", try_="projector contrast --open-share 0.3 --ambient-stops-under 2"))
    asked, warnings = [("stencil", open_share)], []
    if scene is not None:
        loaded, warnings = loaded_scene(scene, with_)
        asked = [(spec.name, study.open_share_of(loaded, spec)) for spec in chosen_projectors(loaded, projector)]
        if ambient_stops_under is None and loaded.ambient is not None:
            ambient_stops_under = loaded.ambient.stops_under
    found = [(name, study.contrast(share, ambient_stops_under, lens_reflectance, stencil_reflectance)) for name, share in asked]
    words = [
        f"{name}: {item.open_share:.0%} open; stray light on the black parts {item.veil_share:.2%} of the openings', other light {item.ambient_share:.1%}: "
        + (f"contrast {item.ratio:.3g} : 1 = {item.stops:.2f} stops" if math.isfinite(item.ratio) else "no light on the black parts")
        for name, item in found
    ]
    return Answer({"projectors": [{"projector": name, **asdict(item)} for name, item in found]}, words, [], warnings)
