"""Which figure a result is drawn as: what `result.figure()` gives."""

from __future__ import annotations

from functools import singledispatch

from projector import studies
from projector.rendering.maps.light_map import IrradianceMap
from projector.rendering.preview import Picture
from projector.reports.contact_sheet import contact_page, layout
from projector.reports.filters_figure import filters_figure
from projector.reports.map_figure import map_figure
from projector.reports.measured_figure import measured_figure
from projector.reports.meter_figure import meter_figure
from projector.reports.picture_figures import histogram_figure, marked_figure, stops_figure
from projector.reports.place_figure import room_figure
from projector.reports.save import DPI, new_figure
from projector.reports.study_figures import focus_figure, lens_strip_figure, throw_figure


@singledispatch
def figure_of(result):
    """A result of this package as a matplotlib Figure. TypeError for anything that is never drawn."""
    raise TypeError(f"there is no figure of a {type(result).__name__}")


@figure_of.register
def _(found: IrradianceMap):
    return map_figure(found)


@figure_of.register
def _(found: Picture):
    """The picture at its own size, a pixel a dot, nothing around it."""
    height, width = found.pixels.shape[:2]
    figure = new_figure(width / DPI, height / DPI, layout="none")
    figure.figimage(found.pixels)
    return figure


@figure_of.register
def _(found: studies.Sheet):
    return contact_page(found.cells, layout(found.cells, found.rows, found.columns, found.title))


@figure_of.register
def _(found: studies.WhereToStand):
    return room_figure(found)


@figure_of.register
def _(found: studies.Throw):
    return throw_figure(studies, found.focal_length_mm, found.lit_width_mm, found.throw_m)


@figure_of.register
def _(found: studies.FocusCurve):
    return focus_figure([found])


@figure_of.register
def _(found: studies.EdgeColours):
    strip = ("the edge with the widest fringe", found.positions_mm, found.linear_rgb, "as the camera sees it")
    return lens_strip_figure([strip], "An edge of the pattern, magnified")


@figure_of.register
def _(found: studies.FilterList):
    return filters_figure([("", found)])


@figure_of.register
def _(found: studies.MeasuredLens):
    return measured_figure(found, "A measured lens")


@figure_of.register
def _(found: studies.Histogram):
    return histogram_figure(found)


@figure_of.register
def _(found: studies.MarkedPicture):
    return marked_figure(found)


@figure_of.register
def _(found: studies.StopsAround):
    return stops_figure(found)


@figure_of.register
def _(found: studies.MeterReading):
    return meter_figure([found])
