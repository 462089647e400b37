"""A contact sheet: every combination of two changes as a small picture with its numbers under it."""

from __future__ import annotations

from pathlib import Path

from projector.rendering.files import RECORD_KEY, check_writable, mark_pdf, written_whole


def contact_sheet(cells, rows, columns, title: str):
    """The sheet as a PIL image: row values at the left, column values on top, a caption under each cell."""
    from PIL import Image, ImageDraw

    height, width = cells[0].pixels.shape[:2]
    font, small = _font(max(12, height // 20)), _font(max(10, height // 26))
    caption = int(1.6 * small.size)
    left, top = 12 * font.size // 2 + 8, 4 * font.size
    gap = 6
    n_rows, n_columns = len(rows.values), len(columns.values)
    sheet = Image.new("RGB", (left + n_columns * (width + gap) + gap, top + n_rows * (height + caption + gap) + gap), (250, 250, 248))
    draw = ImageDraw.Draw(sheet)
    draw.text((gap, gap), f"{title}   rows: {rows.key}   columns: {columns.key}", fill=(20, 20, 20), font=font)
    for index, value in enumerate(columns.values):
        draw.text((left + index * (width + gap) + gap, top - 1.5 * font.size), value, fill=(20, 20, 20), font=font)
    for index, value in enumerate(rows.values):
        draw.text((gap, top + index * (height + caption + gap) + height // 2), value[:14], fill=(20, 20, 20), font=font)
    for cell in cells:
        x, y = left + cell.column * (width + gap) + gap, top + cell.row * (height + caption + gap)
        sheet.paste(Image.fromarray(cell.pixels), (x, y))
        edges = ", ".join(f"{item['projector']}: edges {item['edge_width_mm']:.1f} mm, {item['pattern_width_m']:.2f} m wide" for item in cell.landings)
        draw.text((x, y + height + 2), edges[: int(2.0 * width / small.size)], fill=(60, 60, 60), font=small)
    return sheet


def _font(size: int):
    """matplotlib's own sans serif, which is there wherever the package is."""
    from matplotlib import get_data_path
    from PIL import ImageFont

    return ImageFont.truetype(str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"), size)


def save_sheet(sheet, stem: Path, about: dict, overwrite: bool) -> list[Path]:
    """Write the sheet as PNG and PDF with its record."""
    import json

    from PIL import PngImagePlugin

    paths = [stem.with_name(stem.name + ending) for ending in (".png", ".pdf")]
    check_writable(paths, about["scene"], overwrite)
    notes = PngImagePlugin.PngInfo()
    notes.add_text(RECORD_KEY, json.dumps(about))
    with written_whole(paths[0]) as temporary:
        sheet.save(temporary, format="PNG", compress_level=1, pnginfo=notes)
    with written_whole(paths[1]) as temporary:
        sheet.save(temporary, format="PDF", resolution=150.0, quality=92)
        mark_pdf(temporary, about)
    return paths
