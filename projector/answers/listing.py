"""Sentences about files: a scene that was checked, what comes with the program, and published numbers held again."""

from __future__ import annotations

from projector.phrases import counted, percent


def nothing_wrong(file, n_projectors: int, n_lights: int, n_surfaces: int, n_figures: int) -> str:
    """That a scene has no faults, and what stands in it."""
    things = [counted(n_projectors, "projector"), counted(n_surfaces, "surface"), counted(n_figures, "figure")]
    if n_lights:
        things.insert(1, counted(n_lights, "other light"))
    return f"{file}: nothing wrong. {', '.join(things)}"


def scenes_words(titles: dict[str, str], folder) -> list[str]:
    """Shipped scenes by name with their titles, and where they are."""
    return [
        *_in_columns(titles),
        f"They are in {folder}. Copy one (NAME.toml) and change it; commands take a name from this list, or your copy's"
        " path.",
    ]


def stencils_words(descriptions: dict[str, tuple[str, float]], folder) -> list[str]:
    """Shipped stencils by name with their descriptions and open shares, and where they are."""
    lines = {name: f"{text} ({percent(share)} open)" for name, (text, share) in descriptions.items()}
    return [
        *_in_columns(lines),
        f"They are in {folder}. Copy one (NAME.png) beside your scene and change it, or name any bitmap of yours in"
        " stencil.file.",
    ]


def _in_columns(lines: dict[str, str]) -> list[str]:
    width = max(map(len, lines), default=0)
    return [f"{name:{width}}  {text}" for name, text in lines.items()]


def checks_words(n_passed: int, n_checks: int) -> str:
    """How many published numbers came out again."""
    return f"{n_passed} of {n_checks} checks pass"
