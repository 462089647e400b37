"""Commands about edges: sharpness and fringe; and what commands on a scene share."""

from __future__ import annotations

import math
from dataclasses import asdict, fields
from pathlib import Path
from typing import Annotated, Optional

import typer

from projector.cli.answers import Answer, answered, loaded_scene
from projector.cli.numbers import check_above_zero, check_in_range, number_option, option_name, refuse_unused
from projector.cli.render import Json, Out, Overwrite, SceneArgument, With
from projector.scene.typed_numbers import typed_number

At = Annotated[Optional[list[str]], typer.Option("--at", help='Landmark or point: sitter.left_eye, or "0.1,1.5,-0.9" in metres. May be repeated (default: each projector\'s focus).', show_default=False)]
Only = Annotated[Optional[str], typer.Option("--projector", help="Only this projector (default: all).", show_default=False)]
Number = Optional[float]


def add_commands(app: typer.Typer) -> None:
    """Hang the commands of this module on the application."""
    app.command("sharpness")(sharpness)
    app.command("fringe")(fringe)


def point_from(text: str):
    """A landmark's name, or a point (x, y, z) in metres from "x,y,z". SceneError for what was meant as a point and is none."""
    import math

    from projector.scene.faults import Fault, SceneError

    parts = text.strip("[]() ").split(",")
    try:
        point = tuple(typed_number(part) for part in parts)
    except ValueError:
        point = ()
    if len(point) == 3 and all(map(math.isfinite, point)):
        return point
    if point or len(parts) > 1:
        raise SceneError(Fault(f'"{text}" is not a point', "x,y,z in metres, three numbers; or a landmark, such as sitter.left_eye", "--at 0.1,1.5,-0.9", key="--at"))
    return text


def chosen_projectors(scene, name: str | None):
    """The projectors to answer for. SceneError for an unknown name, or a scene without any."""
    from projector.scene.faults import Fault, SceneError

    found = [spec for spec in scene.projector if name is None or spec.name == name]
    if not found:
        known = ", ".join(spec.name for spec in scene.projector) or "none in this scene"
        raise SceneError(Fault(found=f'there is no projector "{name}"' if name else "the scene has no projector", allowed=known))
    return found


def one_projector(scene, name: str | None):
    """The projector that is asked about. SceneError where the scene has several and none is named: their order says nothing."""
    from projector.scene.faults import Fault, SceneError

    found = chosen_projectors(scene, name)
    if len(found) > 1:
        raise SceneError(Fault(found=f"{len(found)} projectors", allowed=f"one of {', '.join(spec.name for spec in found)}", try_="--projector " + min(spec.name for spec in found)))
    return found[0]


def points_for(scene, spec, at, arrays):
    """The points asked for, else the projector's usual one."""
    from projector.studies.light_at import usual_point

    return [point_from(text) for text in at] if at else [usual_point(scene, spec, arrays)]


def checked_figure_path(out: Path | None, scene_name: str, overwrite: bool) -> Path | None:
    """Where a figure goes, if one is wanted. SceneError, before any work, where it may not be written."""
    from projector.rendering.files import check_writable

    path = figure_path(out)
    if path is not None:
        check_writable([path], scene_name, overwrite)
    return path


def figure_path(out: Path | None) -> Path | None:
    """Where a figure goes; .png unless another ending is given."""
    from projector.rendering.files import named_files

    return None if out is None else named_files(out, "figure", (".pdf",) if out.suffix.lower() == ".pdf" else (".png",))[0]


@answered
def sharpness(
    scene: Annotated[Optional[Path], typer.Argument(help="A scene file, or the name of a shipped scene; without one, numbers for a square wall.", show_default=False)] = None,
    at: At = None,
    within_mm: Annotated[Number, number_option("--within-mm", "Wanted edge width: answers with the depth and the stop for it.")] = None,
    focal_length_mm: Annotated[Number, number_option("--focal-length-mm", "Focal length, without a scene.")] = None,
    f_number: Annotated[Number, number_option("--f-number", "Stop of the lens, without a scene.")] = None,
    throw_m: Annotated[Number, number_option("--throw-m", "Distance it is focused at, without a scene.")] = None,
    wall_m: Annotated[Number, number_option("--wall-m", "Distance of the wall or skin, if it is another one.")] = None,
    stencil_off_mm: Annotated[Number, number_option("--stencil-off-mm", "Stencil off its plane; positive: towards the lamp.")] = None,
    glass: Annotated[Optional[str], typer.Option("--glass", help="Glass of a single element: answers with the blue and the red disc.", show_default=False)] = None,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """How soft edges land at points you name, what limits them, which detail survives, how large the light is for shadows; -o draws width over focus offset."""
    check_above_zero(within_mm=within_mm)
    numbers = {"focal_length_mm": focal_length_mm, "f_number": f_number, "throw_m": throw_m, "wall_m": wall_m, "stencil_off_mm": stencil_off_mm, "glass": glass}
    if scene is None:
        others = {"at": at, "projector": projector, "with": with_, "out": out, "overwrite": overwrite}
        refuse_unused({**numbers, "within_mm": within_mm, **others}, (*numbers, "within_mm"), "without a scene the answer goes by numbers, and has no figure", "name a scene: projector sharpness my-scene.toml -o softness")
        return _blur_from_numbers(numbers, within_mm)
    refuse_beside_a_scene(numbers, "--with changes a value of the scene: projector.NAME.lens.f_number=4")
    return _sharpness_in_scene(scene, at, within_mm, projector, with_, out, overwrite)


def refuse_beside_a_scene(numbers: dict, try_: str) -> None:
    """SceneError for numbers that stand in the scene already."""
    from projector.scene.faults import Fault, SceneError

    given = [option_name(name) for name, value in numbers.items() if value is not None]
    if given:
        raise SceneError(Fault(found=f"{', '.join(given)} beside a scene", allowed="a scene, or numbers", try_=try_))


def _blur_from_numbers(numbers: dict, within_mm) -> Answer:
    from projector.scene.faults import Fault, SceneError
    from projector.studies.blur import blur

    if any(numbers[name] is None for name in ("focal_length_mm", "f_number", "throw_m")):
        raise SceneError(
            Fault(found="not enough to answer from", allowed="a scene; or a focal length, a stop and the throw it is focused at", try_="projector sharpness --focal-length-mm 85 --f-number 1.8 --throw-m 2 --wall-m 2.06")
        )
    check_above_zero(**{name: numbers[name] for name in ("focal_length_mm", "f_number", "throw_m", "wall_m")})
    check_in_range(-1e6, 1e6, stencil_off_mm=numbers["stencil_off_mm"])
    found = blur(**{name: value for name, value in numbers.items() if value is not None}, within_mm=within_mm)
    sharp = f"sharp at {found.sharp_m:.3f} m" if found.sharp_m is not None else "sharp nowhere before the lens"
    words = [
        f"{found.focal_length_mm:g} mm at f/{found.f_number:g}, tube {found.tube_length_mm:.2f} mm, {sharp}: at {found.wall_m:g} m (× {found.magnification:.1f}) a blur disc of {found.blur_mm:.2f} mm, edges rise in {found.edge_mm:.2f} mm",
        f"shadows there go by the lens itself, {found.pupil_mm:.1f} mm or {found.lens_deg:.2f}°, whatever the focus",
    ]
    if found.blue_disc_mm is not None:
        words.append(f"of {numbers['glass']}: blue (486 nm) disc {found.blue_disc_mm:.1f} mm, red (656 nm) {found.red_disc_mm:.1f} mm")
    if within_mm is not None:
        metres = [f"{value:.2f}" for value in found.focuses_m if math.isfinite(value)]
        past = " or past infinity" if len(metres) < len(found.focuses_m) else ""
        offsets = " or ".join(f"{value:+.2f}" for value in found.offsets_mm)
        words.insert(0, f"{within_mm:g} mm at {found.wall_m:g} m: " + (f"focus at {' or '.join(metres)} m{past} (stencil {offsets} mm from its place for a sharp wall)" if metres else "no focus is so soft"))
    if found.f_number_wanted is not None:
        words.append(f"edges within {within_mm:g} mm: f/{found.f_number_wanted:.1f}, {found.cost_stops:.1f} stops less light if the pupil is filled")
    return Answer(asdict(found), words)


def _sharpness_in_scene(scene, at, within_mm, projector, with_, out, overwrite) -> Answer:
    from projector.cli.answers import progress_shown
    from projector.studies import sharpness as study
    from projector.studies.light_at import light_at
    from projector.tracing.arrays import scene_arrays

    loaded, warnings = loaded_scene(scene, with_)
    path = checked_figure_path(out, loaded.name, overwrite)
    progress_shown()
    arrays = scene_arrays(loaded)
    rows, words, asked, compromises, wanted = [], [], [], [], []
    for spec in chosen_projectors(loaded, projector):
        reached = []
        for reference in points_for(loaded, spec, at, arrays):
            arrives = light_at(loaded, spec, reference, arrays)
            warnings = [*warnings, *([] if arrives.arrives else [no_light_note(arrives)])]
            if not arrives.has_edges:
                rows.append({**row_without_numbers(study.Sharpness), "projector": spec.name, "at": arrives.at, "light": arrives.as_dict()})
                words.append(_no_light_words(arrives))
                continue
            found = study.sharpness(loaded, spec, reference, within_mm, arrays, arrives)
            rows.append({**asdict(found), "light": arrives.as_dict()})
            words += [_wanted_words(found, item) for item in found.wanted_focuses] + _sharpness_words(found, arrives)
            wanted += [(focused.offset_mm, found, focused.focus_m) for item in found.wanted_focuses for focused in item.focuses]
            reached.append(reference)
        asked += [(spec, reference) for reference in reached]
        if len(reached) > 1:
            best = study.compromise(loaded, spec, reached, arrays)
            compromises.append({"projector": spec.name, **asdict(best)})
            listed = [", ".join(f"{edge:.2f}" for edge in edges) for edges in (best.edges_mm, best.edges_now_mm)]
            words.append(f"{spec.name}: one focus for all: offset {best.offset_mm:+.2f} mm, edges {listed[0]} mm there (now {listed[1]} mm)")
    if path is not None and not asked:
        path, warnings = None, [*warnings, "no figure was written: no light gets to any of the points"]
    if path is not None:
        _draw_focus(loaded, asked, within_mm, wanted, arrays, path, overwrite)
    if asked:
        words.append("words: " + "; ".join(f"{word}: {meaning}" for word, meaning in study.WORDS.items()))
    return Answer({"points": rows, "compromises": compromises, "words": study.WORDS}, words, [path] if path else [], warnings)


def _no_light_words(arrives) -> str:
    return f"{arrives.projector} at {arrives.at}: no light; {arrives.words}"


def no_light_note(arrives) -> str:
    """What a program should notice: that there are no numbers, or whose they are."""
    numbers = "its numbers are those of an edge beside it" if arrives.has_edges else "there are no numbers for it"
    return f"no light of {arrives.projector} at {arrives.at} ({arrives.reason}): {numbers}"


def row_without_numbers(kind) -> dict:
    """The keys of an answer of a kind, with nothing in those that would hold a number."""
    return {field.name: None for field in fields(kind)}


def _draw_focus(scene, asked, within_mm, wanted, arrays, path: Path, overwrite: bool) -> None:
    """Edge width over focus offset for pairs of projector and reference, as far as the focuses that give the wanted width."""
    from projector.rendering.files import record
    from projector.reports.save import save_figure
    from projector.reports.study_figures import focus_figure
    from projector.studies import sharpness as study

    offsets = study.offsets_to_show(scene, asked, arrays, [offset for offset, *_ in wanted])
    curves = [study.focus_curve(scene, spec, reference, offsets, arrays) for spec, reference in asked]
    save_figure(focus_figure(curves, within_mm, _named_focuses(asked, wanted)), path, record(scene, "sharpness"), overwrite)


def _named_focuses(asked, wanted) -> list[tuple[float, str]]:
    """Offset (mm) and words of each focus that gives the wanted width; with whose it is where several edges were asked about."""

    def whose(found) -> str:
        parts = [found.projector] if len({spec.name for spec, _ in asked}) > 1 else []
        parts += [found.at] if len({str(reference) for _, reference in asked}) > 1 else []
        return f"{' at '.join(parts)}: " if parts else ""

    return [(offset_mm, f"{whose(found)}{focus_m:.2f} m" if focus_m is not None else "") for offset_mm, found, focus_m in wanted]


def _percent(share: float) -> str:
    """A share in percent, with two digits however small."""
    return f"{100.0 * share:.0f} %" if share > 0.1 else f"{100.0 * share:.2g} %"


def _between(near: float, far: float) -> str:
    """A stretch of distances (m) that may begin at the lens, or have no end."""
    if math.isinf(near):
        return "nowhere in front of the lens"
    if math.isinf(far):
        return f"from {near:.3f} m on" if near > 0.0 else "at every distance"
    return f"from {near:.3f} to {far:.3f} m" if near > 0.0 else f"up to {far:.3f} m"


def _wanted_words(found, wanted) -> str:
    """The focus that gives the wanted width, first of all that is said."""
    edge = f", {wanted.edge}" if len(found.wanted_focuses) > 1 else ""
    start = f"{found.projector} at {found.at}{edge}: {found.wanted_mm:g} mm"
    if not wanted.focuses:
        least = f"its sharpest, at offset {wanted.least_offset_mm:+.2f} mm, is {wanted.least_mm:.2f} mm"
        return f"{start}: no focus gives it; {least}" if wanted.least_mm > wanted.wanted_mm else f"{start}: no focus is so soft; {least}"
    offsets = [f"{item.offset_mm:+.2f}" for item in wanted.focuses]
    if len(offsets) == 2 and offsets[0][1:] == offsets[1][1:]:
        offsets = [f"± {offsets[0][1:]}"]
    metres = [f"{item.focus_m:.2f}" for item in wanted.focuses if item.focus_m is not None]
    ways = ([f"focus at {' or '.join(metres)} m"] if metres else []) + (["past infinity"] if len(metres) < len(wanted.focuses) else [])
    near = [f"{item.focus_m:.2f} m" for item in wanted.focuses if not item.within_reach]
    reach = f"; {' and '.join(near)} is nearer than this lens focuses" if near else ""
    return f"{start}: {' or '.join(ways) if metres else 'focus past infinity'} (offset {' or '.join(offsets)} mm){reach}"


def _sharpness_words(found, arrives) -> list[str]:
    words = [
        f"{found.projector} at {found.at} ({found.distance_m:.3f} m): {found.word}; edges rise in {found.edge_across_mm:.2f} mm across the tilt, {found.edge_along_mm:.2f} mm along it"
        f" (in a render {found.measured_across_mm:.2f} and {found.measured_along_mm:.2f} mm); blur disc {found.blur_disc_mm:.2f} mm",
        f"    limited by {found.limits[0].cause} ({found.limits[0].edge_mm:.2f} mm), then {found.limits[1].cause} ({found.limits[1].edge_mm:.2f} mm); a camera pixel is {found.camera_pixel_mm:.2f} mm",
    ]
    if not arrives.arrives:
        words.append(f"    no light on the point itself: {arrives.words}; these are the numbers of an edge there")
    elif arrives.hidden_by:
        words.append(f"    {arrives.words}")
    if found.detail_mm is not None:
        words.append(f"    the pattern's own fine detail is {found.detail_mm:.1f} mm and keeps {found.detail_contrast:.0%} of its contrast; lines of {found.smallest_mm:.2g} mm keep 10 %")
    if found.doubled_mm is not None:
        words.append(f"    the pupil has a hole: every edge rises twice, {found.doubled_mm:.1f} mm apart")
    if found.lit_pupil.share > 0.0:
        lit = found.lit_pupil
        words.append(f"    shadows: {_percent(lit.share)} of the lens shines here, {lit.longest_mm:.0f} × {lit.shortest_mm:.0f} mm ({lit.longest_deg:.2f}° × {lit.shortest_deg:.2f}°); 50 mm before the surface it fades an edge of shadow over up to {lit.shadow_mm:.1f} mm")
    if found.blades_mm:
        words.append("    edges of the blades, which stand in planes of their own, rise in: " + ", ".join(f"{side} {edge:.2f} mm" for side, edge in found.blades_mm.items()))
    if found.stop is not None:
        words.append(f"    edges within {found.wanted_mm:g} mm: f/{found.stop.f_number:.1f}, {found.stop.cost_stops:.1f} stops less light")
    elif found.wanted_mm is not None and found.edge_mm > found.wanted_mm:
        words.append(f"    edges within {found.wanted_mm:g} mm: no stop does that; what is left is {'the lens shifting colours sideways' if any('lateral' in limit.cause for limit in found.limits) else 'not blur of the pupil'}")
    if found.depth_m is not None:
        near, far = found.depth_m
        if math.isnan(near):
            words.append(f"    on the axis edges are wider than {found.wanted_mm:g} mm at every distance: the lens's colours alone are")
        else:
            words.append(f"    on the axis edges stay within {found.wanted_mm:g} mm {_between(near, far)}")
    return words


@answered
def fringe(
    scene: SceneArgument,
    at: At = None,
    lens: Annotated[Optional[list[str]], typer.Option("--lens", help="A lens file to compare with. May be repeated.", show_default=False)] = None,
    tolerance_arcmin: Annotated[float, number_option("--tolerance-arcmin", "What may pass, in arc-minutes from the camera.", True)] = 1.0,
    tolerance_pixels: Annotated[float, number_option("--tolerance-pixels", "What may pass, in camera pixels; the larger of the two counts.", True)] = 1.0,
    projector: Only = None,
    with_: With = None,
    out: Out = None,
    overwrite: Overwrite = False,
    json: Json = False,
) -> Answer:
    """How wide and of what colour fringes are at points you name, whether they pass, what would cure them; -o draws edges of lenses."""
    check_above_zero(tolerance_arcmin=tolerance_arcmin, tolerance_pixels=tolerance_pixels)
    from projector.studies import fringe as study
    from projector.studies.light_at import light_at
    from projector.tracing.arrays import scene_arrays

    loaded, warnings = loaded_scene(scene, with_)
    path = checked_figure_path(out, loaded.name, overwrite)
    arrays = scene_arrays(loaded)
    rows, words, strips = [], [], []
    for spec in chosen_projectors(loaded, projector):
        for reference in points_for(loaded, spec, at, arrays):
            for name, item in [("as it is", spec), *((name, study.with_lens(loaded, spec, name)) for name in lens or ())]:
                arrives = light_at(loaded, item, reference, arrays)
                if not arrives.arrives and no_light_note(arrives) not in warnings:
                    warnings = [*warnings, no_light_note(arrives)]
                if not arrives.has_edges:
                    rows.append({**row_without_numbers(study.Fringe), "projector": spec.name, "at": arrives.at, "lens": name, "cures": [], "light": arrives.as_dict()})
                    words.append(_no_light_words(arrives))
                    continue
                found = study.fringe(loaded, item, reference, tolerance_arcmin, tolerance_pixels, name, arrays, arrives)
                cures = [] if found.passes else study.cures(loaded, item, reference, found, arrays)
                rows.append({**asdict(found), "cures": [asdict(cure) for cure in cures], "light": arrives.as_dict()})
                words += _fringe_words(found, cures)
                if not arrives.arrives:
                    words.append(f"    no light on the point itself: {arrives.words}; these are the numbers of an edge there")
                if out is not None:
                    strips.append(_strip(loaded, item, reference, found, arrays))
    if path is not None and not strips:
        path, warnings = None, [*warnings, "no figure was written: no light gets to any of the points"]
    if path is not None:
        from projector.rendering.files import record
        from projector.reports.save import save_figure
        from projector.reports.study_figures import lens_strip_figure

        save_figure(lens_strip_figure(strips, "Edges as the camera sees them, magnified"), path, record(loaded, "fringe"), overwrite)
    return Answer({"points": rows}, words, [path] if path else [], warnings)


def _strip(scene, spec, reference, found, arrays):
    from projector.studies.fringe import shown_edge

    colours = shown_edge(scene, spec, reference, arrays)
    fringe_words = f"fringe {found.width_mm:.2f} mm, ΔE {found.largest_delta_e:.0f}" if found.width_mm > 0.0 else "no fringe"
    which = "" if found.edge_deg is None else f", {edge_words(found)}"
    return f"{spec.name}, {found.lens}, f/{spec.lens.f_number:g}, {found.at}", colours.positions_mm, colours.linear_rgb, fringe_words + which


def edge_words(found) -> str:
    """Which edges show a Fringe most."""
    if found.edge_deg is None:
        return "edges of all directions alike"
    lean = found.edge_deg
    named = "upright edges" if abs(lean) < 0.5 else "level edges" if abs(lean) > 89.5 else f"edges leaning {abs(lean):.0f}° to the {'right' if lean > 0.0 else 'left'}"
    return named + ("" if found.bright_outwards is None else f", bright side {'outwards' if found.bright_outwards else 'inwards'}")


def _told_apart(width_mm: float, limit_mm: float) -> tuple[str, str]:
    """Both with two decimals, or with as many as it takes to see which is larger."""
    decimals = 2
    while width_mm != limit_mm and decimals < 6 and f"{width_mm:.{decimals}f}" == f"{limit_mm:.{decimals}f}":
        decimals += 1
    return f"{width_mm:.{decimals}f}", f"{limit_mm:.{decimals}f}"


def _fringe_words(found, cures) -> list[str]:
    # What passes by a hair needs no decimals that would make it look like a failure.
    width, allowed = (f"{found.width_mm:.2f}", f"{found.tolerance_mm:.2f}") if found.passes else _told_apart(found.width_mm, found.tolerance_mm)
    verdict = "passes" if found.passes else "does not pass"
    words = [
        f"{found.projector} at {found.at} ({found.lens}): {verdict}; fringe {width} mm = {found.arc_minutes:.1f} arc-minutes = {found.camera_pixels:.1f} camera pixels"
        f" (axial {found.axial_mm:.2f}, lateral {found.lateral_mm:.2f} mm; allowed {allowed} mm)",
        f"    {edge_words(found)}" if found.edge_deg is None else f"    shows most on {edge_words(found)} (as the projector sees them land)",
        f"    blur discs: blue (486 nm) {found.blue_disc_mm:.2f} mm, red (656 nm) {found.red_disc_mm:.2f} mm",
        f"    dark side {found.dark_side[1]} {found.dark_side[0]}, bright side {found.bright_side[1]} {found.bright_side[0]}, largest ΔE*ab {found.largest_delta_e:.0f}",
    ]
    for cure in cures:
        price = f", costs {cure.cost_stops:.1f} stops" if cure.cost_stops > 0.0 else ""
        verdict = "passes" if cure.passes else "helps, does not pass"
        words.append(f"    {cure.what}, {cure.value}: {f'{cure.width_mm:.2f}' if cure.passes else _told_apart(cure.width_mm, found.tolerance_mm)[0]} mm, {verdict}{price}; edges then rise in {cure.edge_mm:.2f} mm (now {found.edge_mm:.2f} mm)")
    if not found.passes and not cures:
        words.append("    no stop, focus offset, narrow filter or lens that comes along makes it better by a tenth for four stops or less")
    return words
