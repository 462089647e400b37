"""A contact sheet: every combination of two changes as a small picture with its numbers under it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import NamedTuple

from projector.rendering.files import RECORD_KEY, check_writable, mark_pdf, named_files, written_whole

GAP_PX = 6
INK, FAINT_INK, PAPER = (20, 20, 20), (60, 60, 60), (250, 250, 248)
# Letters smaller than this are not read any more; what is still too long then is broken wherever it has to be.
SMALLEST_LETTERS_PX = 9


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

    def write(self, draw, x: float, y: float, fill=INK) -> None:
        for index, line in enumerate(self.lines):
            draw.text((x, y + index * self.line_height), line, fill=fill, font=self.font)


class Layout(NamedTuple):
    """Where everything of a sheet stands, in pixels: pictures' and sheet's size, the margins before the first picture, the lettering."""

    width: int
    height: int
    left: int
    top: int
    caption: int
    heading: list[Lettering]
    rows: list[Lettering]
    columns: list[Lettering]
    captions: list[list[Lettering]]

    @property
    def size(self) -> tuple[int, int]:
        across, down = len(self.columns) * (self.width + GAP_PX), len(self.rows) * (self.height + self.caption + GAP_PX)
        return self.left + across, self.top + down

    def corner(self, row: int, column: int) -> tuple[int, int]:
        """Upper left of a picture."""
        return self.left + column * (self.width + GAP_PX), self.top + row * (self.height + self.caption + GAP_PX)


def layout(cells, rows, columns, title: str) -> Layout:
    """Every label in the room that it has: at the left of its row, over its column, under its picture, within the sheet's width."""
    height, width = cells[0].pixels.shape[:2]
    size, small = max(12, height // 20), max(10, height // 26)
    row_labels = [fitted(value, size, 6 * size, 3) for value in rows.values]
    left = 2 * GAP_PX + round(max(label.width for label in row_labels))
    column_labels = [fitted(value, size, width, 2) for value in columns.values]
    whole = left + len(columns.values) * (width + GAP_PX) - 2 * GAP_PX
    heading = [fitted(title, round(1.15 * size), whole, 2)] + [fitted(f"{name}: {axis.key}", size, whole, 1) for name, axis in (("rows", rows), ("columns", columns))]
    captions = [[fitted(_numbers(item), small, width, 2) for item in cell.landings] for cell in cells]
    top = GAP_PX + sum(item.height for item in heading) + size // 2 + max(label.height for label in column_labels) + 2
    caption = max((sum(item.height for item in items) for items in captions), default=0) + 4
    return Layout(width, height, left, top, caption, heading, row_labels, column_labels, captions)


def _numbers(landing: dict) -> str:
    return f"{landing['projector']}: edges {landing['edge_width_mm']:.1f} mm, {landing['pattern_width_m']:.2f} m wide"


def contact_sheet(cells, rows, columns, title: str):
    """The sheet as a PIL image: row values at the left, column values on top, a caption under each cell."""
    from PIL import Image, ImageDraw

    plan = layout(cells, rows, columns, title)
    sheet = Image.new("RGB", plan.size, PAPER)
    draw = ImageDraw.Draw(sheet)
    _write_under_each_other(draw, plan.heading, GAP_PX, GAP_PX, INK)
    for index, label in enumerate(plan.columns):
        label.write(draw, plan.corner(0, index)[0], plan.top - label.height - 2)
    for index, label in enumerate(plan.rows):
        label.write(draw, GAP_PX, plan.corner(index, 0)[1] + (plan.height - label.height) // 2)
    for cell, caption in zip(cells, plan.captions, strict=True):
        x, y = plan.corner(cell.row, cell.column)
        sheet.paste(Image.fromarray(cell.pixels), (x, y))
        _write_under_each_other(draw, caption, x, y + plan.height + 1, FAINT_INK)
    return sheet


def _write_under_each_other(draw, items, x: float, y: float, fill) -> None:
    for item in items:
        item.write(draw, x, y, fill)
        y += item.height


def fitted(text: str, size: int, room: float, most_lines: int) -> Lettering:
    """Text in the largest letters, at most `size`, that fit so many lines of a width (all in pixels) without breaking a word."""
    for letters in range(size, SMALLEST_LETTERS_PX - 1, -1):
        font = _font(letters)
        pieces = re.findall(r"[^\s\-_./,]*[\s\-_./,]*", text)
        lines = _joined(pieces, font, room)
        if len(lines) <= most_lines and max(font.getlength(line) for line in lines) <= room:
            return Lettering(lines, font)
    return Lettering(_joined(list(text), font, room), font)


def _joined(pieces: list[str], font, room: float) -> list[str]:
    """Pieces put together to lines as long as the room lets them be."""
    lines = [""]
    for piece in pieces:
        if lines[-1] and font.getlength((lines[-1] + piece).rstrip()) > room:
            lines.append("")
        lines[-1] += piece
    return [line.rstrip() for line in lines]


def _font(size: int):
    """matplotlib's own sans serif, which is there wherever the package is."""
    from matplotlib import get_data_path
    from PIL import ImageFont

    return ImageFont.truetype(str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"), size)


def save_sheet(sheet, stem: Path, about: dict, overwrite: bool) -> list[Path]:
    """Write the sheet as PNG and PDF with its record."""
    import json

    from PIL import PngImagePlugin

    paths = named_files(stem, stem.name, (".png", ".pdf"))
    check_writable(paths, about["scene"], overwrite)
    notes = PngImagePlugin.PngInfo()
    notes.add_text(RECORD_KEY, json.dumps(about))
    with written_whole(paths[0]) as temporary:
        sheet.save(temporary, format="PNG", compress_level=1, pnginfo=notes)
    with written_whole(paths[1]) as temporary:
        sheet.save(temporary, format="PDF", resolution=150.0, quality=92)
        mark_pdf(temporary, about)
    return paths
