"""Figures to files, with the record of how they were made."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path

from projector.files.records import RECORD_KEY, check_writable, mark_pdf, written_whole

DPI = 150


def new_figure(width_in: float = 8.0, height_in: float = 5.5, layout: str = "constrained"):
    """An empty figure with the house's lettering; no display is needed. layout: "none" where everything is placed by
    inches.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = _figure_class()(figsize=(width_in, height_in), dpi=DPI, layout=layout)
    FigureCanvasAgg(figure)
    return figure


@cache
def _figure_class():
    """matplotlib's Figure, which a notebook shows without pyplot."""
    from matplotlib.figure import Figure

    class ShownFigure(Figure):
        def _repr_png_(self) -> bytes:
            written = io.BytesIO()
            self.savefig(written, format="png")
            return written.getvalue()

    return ShownFigure


def save_figure(figure, path, about: dict, overwrite: bool = False) -> Path:
    """Write a figure as PNG or PDF by its ending; SceneError before anything that was not made from the same scene is
    lost.
    """
    path = Path(path)
    check_writable([path], about["scene"], overwrite)
    from matplotlib import rc_context

    is_pdf = path.suffix.lower() == ".pdf"
    # Type 42 keeps the letters of a PDF as letters: they can be searched and copied.
    with written_whole(path) as temporary, rc_context({"pdf.fonttype": 42}):
        figure.savefig(
            temporary, format="pdf" if is_pdf else "png", metadata=None if is_pdf else {RECORD_KEY: json.dumps(about)}
        )
        if is_pdf:
            mark_pdf(temporary, about)
    return path
