"""A contact sheet: every combination of two changes as a small picture with its numbers under it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

from projector.files.records import RECORD_KEY, check_writable, named_files, written_whole
from projector.reports.save import DPI, save_figure
from projector.studies.choosing.comparison import sheet_notes
from projector.studies.size.landing import over_or_under

GAP_PX = 6
INK, FAINT_INK, PAPER = (20, 20, 20), (60, 60, 60), (250, 250, 248)
# Letters smaller than this are not read any more; what is still too long then is broken wherever it has to be.
SMALLEST_LETTERS_PX = 9
# So many notes of single pictures are written under a sheet.
MOST_NOTES = 24


class Lettering(NamedTuple):
    """Text broken into lines and the font that makes them fit; sizes in pixels."""

    lines: list[str]
    font: object

    @property
    def width(self) -> float:
        return max(self.font.getlength(line) for line in self.lines)

    @property
    def line_height(self) -> int:
        return round(1.25 * self.font.size)

    @property
    def height(self) -> int:
        return self.line_height * len(self.lines)


class Layout(NamedTuple):
    """Where everything of a sheet stands, in pixels: pictures' and sheet's size, the margins before the first picture,
    the lettering.
    """

    width: int
    height: int
    left: int
    top: int
    caption: int
    heading: list[Lettering]
    rows: list[Lettering]
    columns: list[Lettering]
    captions: list[list[Lettering]]
    foot: list[Lettering]

    @property
    def size(self) -> tuple[int, int]:
        across, down = len(self.columns) * (self.width + GAP_PX), len(self.rows) * (self.height + self.caption + GAP_PX)
        return self.left + across, self.top + down + sum(item.height for item in self.foot) + (
            GAP_PX if self.foot else 0
        )

    def corner(self, row: int, column: int) -> tuple[int, int]:
        """Upper left of a picture."""
        return self.left + column * (self.width + GAP_PX), self.top + row * (self.height + self.caption + GAP_PX)


def layout(cells, rows, columns, title: str) -> Layout:
    """Every label in the room that it has: at the left of its row, over its column, under its picture, within the
    sheet's width.
    """
    height, width = cells[0].pixels.shape[:2]
    size, small = max(12, height // 20), max(10, height // 26)
    row_labels = [fitted(value, size, 6 * size, 3) for value in rows.values]
    left = 2 * GAP_PX + round(max(label.width for label in row_labels)) if rows.key else GAP_PX
    column_labels = [fitted(value, size, width, 2) for value in columns.values]
    whole = left + len(columns.values) * (width + GAP_PX) - 2 * GAP_PX
    texts, alike = captions(cells)
    heading = [fitted(title, round(1.15 * size), whole, 2)]
    heading += [
        fitted(f"{name}: {axis.key}", size, whole, 1)
        for name, axis in (("rows", rows), ("columns", columns))
        if axis.key
    ]
    heading += [fitted(f"in every picture: {alike}", small, whole, 2)] if alike else []
    shared, single, marks = sheet_notes(cells)
    foot = [fitted(text, small, whole, 4) for text in foot_texts(shared, single)]
    texts = [[*items, *([_marks(numbers)] if numbers else [])] for items, numbers in zip(texts, marks, strict=True)]
    under = [[fitted(text, small, width, 2) for text in items] for items in texts]
    over = max(label.height for label in column_labels) if columns.key else 0
    top = GAP_PX + sum(item.height for item in heading) + size // 2 + over + 2
    caption = max((sum(item.height for item in items) for items in under), default=0) + 4
    return Layout(width, height, left, top, caption, heading, row_labels, column_labels, under, foot)


def foot_texts(shared: list[str], single: list[str]) -> list[str]:
    """What is noted under a sheet: first what holds for all of it, then by number what holds for some pictures."""
    shown = [f"note {number}: {note}" for number, note in enumerate(single[:MOST_NOTES], 1)]
    left = (
        [f"and {len(single) - MOST_NOTES} more notes, beside the numbers in the CSV and JSON"]
        if len(single) > MOST_NOTES
        else []
    )
    return [*(f"note: {note}" for note in shared), *shown, *left]


def _marks(numbers: list[int]) -> str:
    """Which notes a picture has."""
    return ("note " if len(numbers) == 1 else "notes ") + ", ".join(str(number + 1) for number in numbers)


def captions(cells) -> tuple[list[list[str]], str]:
    """What differs from picture to picture, a text for each projector under each picture; and what is the same in all
    of them.
    """
    named = len(cells[0].landings) > 1
    numbers = [[_numbers(landing) for landing in cell.landings] for cell in cells]
    under, alike = [[] for _ in cells], []
    for index, landing in enumerate(cells[0].landings):
        whose = f"{landing['projector']}: " if named else ""
        same = [len({items[index][number] for items in numbers}) == 1 for number in range(len(numbers[0][index]))]
        shared = [text for text, is_same in zip(numbers[0][index], same, strict=True) if is_same and text]
        if shared:
            alike.append(whose + ", ".join(shared))
        for texts, items in zip(under, numbers, strict=True):
            differing = [text for text, is_same in zip(items[index], same, strict=True) if not is_same and text]
            if differing:
                texts.append(whose + ", ".join(differing))
    return under, "; ".join(alike)


def _numbers(landing: dict) -> tuple[str, str, str, str]:
    """The numbers of a landing that a choice goes by, in words."""
    if landing["no_light"] is not None:
        return "no light on its axis", "", "", ""
    throw, size, edges = (
        f"{landing['throw_m']:.2f} m away",
        f"{landing['pattern_width_m']:.2f} m wide",
        f"edges {landing['edge_width_mm']:.1f} mm",
    )
    if landing["lands_on"] is None:
        throw = f"its axis meets nothing, at {landing['throw_m']:.2f} m"
    light = landing["open_gate_f_number"]
    return (
        throw,
        size,
        edges,
        "" if light is None else f"f/{light:.1f}, {over_or_under(landing['open_gate_stops_over'], 'as set')}",
    )


def contact_sheet(cells, plan: Layout):
    """The sheet as a PIL image: row values at the left, column values on top, a caption under each cell."""
    from PIL import Image, ImageDraw

    sheet = Image.new("RGB", plan.size, PAPER)
    draw = ImageDraw.Draw(sheet)
    for cell in cells:
        sheet.paste(Image.fromarray(cell.pixels), plan.corner(cell.row, cell.column))
    for x, y, fill, lettering in _placed(cells, plan):
        for index, line in enumerate(lettering.lines):
            draw.text((x, y + index * lettering.line_height), line, fill=fill, font=lettering.font)
    return sheet


def contact_page(cells, plan: Layout):
    """The same sheet as a matplotlib figure for a PDF: its text stays text, to be searched and copied."""
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

    across, down = plan.size
    page = Figure(figsize=(across / DPI, down / DPI), dpi=DPI, facecolor=_shares(PAPER))
    for cell in cells:
        x, y = plan.corner(cell.row, cell.column)
        axes = page.add_axes((x / across, 1.0 - (y + plan.height) / down, plan.width / across, plan.height / down))
        axes.imshow(cell.pixels, interpolation="none", aspect="auto")
        axes.set_axis_off()
    for x, y, fill, lettering in _placed(cells, plan):
        font = FontProperties(fname=_font_file(), size=lettering.font.size * 72.0 / DPI)
        for index, line in enumerate(lettering.lines):
            baseline = y + index * lettering.line_height + lettering.font.getmetrics()[0]
            page.text(
                x / across,
                1.0 - baseline / down,
                line,
                fontproperties=font,
                color=_shares(fill),
                va="baseline",
                parse_math=False,
            )
    return page


def _shares(colour) -> tuple[float, ...]:
    return tuple(value / 255.0 for value in colour)


def _placed(cells, plan: Layout):
    """All lettering of a sheet: x, y of its upper left (pixels), colour, and the Lettering."""
    yield from _under_each_other(plan.heading, GAP_PX, GAP_PX, INK)
    for index, label in enumerate(plan.columns):
        yield plan.corner(0, index)[0], plan.top - label.height - 2, INK, label
    for index, label in enumerate(plan.rows):
        yield GAP_PX, plan.corner(index, 0)[1] + (plan.height - label.height) // 2, INK, label
    for cell, caption in zip(cells, plan.captions, strict=True):
        x, y = plan.corner(cell.row, cell.column)
        yield from _under_each_other(caption, x, y + plan.height + 1, FAINT_INK)
    yield from _under_each_other(plan.foot, GAP_PX, plan.corner(len(plan.rows), 0)[1], FAINT_INK)


def _under_each_other(items, x: float, y: float, fill):
    for item in items:
        yield x, y, fill, item
        y += item.height


def fitted(text: str, size: int, room: float, most_lines: int) -> Lettering:
    """Text in the largest letters, at most `size`, that fit so many lines of a width (all in pixels), no word or number
    broken.
    """
    pieces = _pieces(text)
    for letters in range(size, SMALLEST_LETTERS_PX - 1, -1):
        font = _font(letters)
        lines = _joined(pieces, font, room)
        if len(lines) <= most_lines and max(font.getlength(line) for line in lines) <= room:
            return Lettering(lines, font)
    # Only what is too wide for a line of its own is broken: between number and unit, else wherever it has to be.
    for cut in (lambda piece: re.split(r"(?<=\s)", piece), list):
        pieces = [
            part
            for piece in pieces
            for part in ([piece] if font.getlength(piece.rstrip()) <= room else cut(piece))
            if part
        ]
    return Lettering(_joined(pieces, font, room), font)


# A line may end after a space, a comma or a low line, and after the other signs only before a letter: a number stays
# whole, and has its unit beside it.
_LINE_ENDS = re.compile(r"(?<=[\s,_])(?=[^\s,_])(?!(?<=\d\s)[^\W\d])|(?<=[^\s,(\[][-/.])(?=[^\W\d])")


def _pieces(text: str) -> list[str]:
    """A text cut where a line may end."""
    return _LINE_ENDS.split(text)


def _joined(pieces: list[str], font, room: float) -> list[str]:
    """Pieces put together to lines as long as the room lets them be."""
    lines = [""]
    for piece in pieces:
        if lines[-1] and font.getlength((lines[-1] + piece).rstrip()) > room:
            lines.append("")
        lines[-1] += piece
    return [line.rstrip() for line in lines]


def _font(size: int):
    from PIL import ImageFont

    return ImageFont.truetype(_font_file(), size)


def _font_file() -> str:
    """matplotlib's own sans serif, which is there wherever the package is."""
    from matplotlib import get_data_path

    return str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")


def save_sheet(cells, plan: Layout, stem: Path, about: dict, overwrite: bool) -> list[Path]:
    """Write the sheet as PNG and PDF with its record."""
    import json

    from PIL import PngImagePlugin

    paths = named_files(stem, stem.name, (".png", ".pdf"))
    check_writable(paths, about["scene"], overwrite)
    notes = PngImagePlugin.PngInfo()
    notes.add_text(RECORD_KEY, json.dumps(about))
    with written_whole(paths[0]) as temporary:
        contact_sheet(cells, plan).save(temporary, format="PNG", compress_level=1, pnginfo=notes)
    save_figure(contact_page(cells, plan), paths[1], about, overwrite)
    return paths
