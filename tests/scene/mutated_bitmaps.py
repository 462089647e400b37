"""Picture files of every kind, and what wear, bad copies and malice make of their bytes: always the same for the same
seed.
"""

from __future__ import annotations

import io
import struct

import numpy as np


def whole_files() -> dict[str, bytes]:
    """One small file of every kind and layout, by a name with its ending."""
    import tifffile
    from PIL import Image

    side = 40
    rows, columns = np.indices((side, side))
    grey = ((rows // 5 + columns // 7) % 2 * 255).astype(np.uint8)
    colour = np.dstack([grey, 255 - grey, (rows * 6).astype(np.uint8)])
    clear = np.dstack([colour, (columns * 6).astype(np.uint8)])
    exif = Image.Exif()
    exif[0x0112] = 6
    files: dict[str, bytes] = {}

    def by_pillow(name: str, values, mode=None, **how) -> None:
        memory = io.BytesIO()
        image = values if isinstance(values, Image.Image) else Image.fromarray(values, mode)
        kind = {"jpg": "JPEG", "tif": "TIFF", "jp2": "JPEG2000"}.get(
            name.rpartition(".")[2], name.rpartition(".")[2].upper()
        )
        image.save(memory, kind, **how)
        files[name] = memory.getvalue()

    palette = Image.fromarray(colour).convert("P", palette=Image.Palette.ADAPTIVE)
    by_pillow("grey.png", grey)
    by_pillow("colour.png", colour, exif=exif)
    by_pillow("clear.png", clear)
    by_pillow("deep.png", grey.astype(np.uint16) * 257)
    by_pillow("palette.png", palette, transparency=3)
    by_pillow("bits.png", Image.fromarray(grey).convert("1"))
    for name, how in (("colour.jpg", {"exif": exif}), ("progressive.jpg", {"progressive": True})):
        by_pillow(name, colour, quality=80, **how)
    by_pillow("ink.jpg", Image.fromarray(colour).convert("CMYK"))
    for name in ("colour.bmp", "colour.webp", "colour.jp2"):
        by_pillow(name, colour)
    by_pillow("clear.webp", clear, lossless=True)
    by_pillow("palette.bmp", palette)
    by_pillow("grey.gif", grey)
    by_pillow("two.gif", Image.fromarray(grey), save_all=True, append_images=[Image.fromarray(255 - grey)])
    by_pillow("lzw.tif", colour, compression="tiff_lzw")
    by_pillow("fax.tif", Image.fromarray(grey).convert("1"), compression="group4")
    by_pillow("jpeg.tif", colour, compression="jpeg")
    by_pillow("palette.tif", palette)
    deep = colour.astype(np.uint16) * 257
    layouts = {
        "deep": (deep, {"photometric": "rgb"}),
        "planar": (np.moveaxis(deep, -1, 0), {"photometric": "rgb", "planarconfig": "separate"}),
        "deflate": (deep, {"photometric": "rgb", "compression": "deflate", "predictor": 2}),
        "tiled": (grey, {"tile": (16, 16)}),
        "half": ((grey / 255).astype(np.float16), {}),
        "clear": (clear, {"photometric": "rgb", "extrasamples": ["assocalpha"]}),
        "white": (255 - grey, {"photometric": "miniswhite", "bigtiff": True}),
        "big-endian": (deep, {"photometric": "rgb", "byteorder": ">"}),
    }
    for name, (values, how) in layouts.items():
        memory = io.BytesIO()
        tifffile.imwrite(memory, values, **how)
        files[f"{name}.tif"] = memory.getvalue()
    return files


def mutated(content: bytes, random: np.random.Generator) -> bytes:
    """The file with one to four things done to it: bits turned, numbers set to their extremes, parts cut, doubled,
    moved or filled.
    """
    data = bytearray(content)
    for _ in range(int(random.integers(1, 5))):
        if not data:
            break
        # Half of the changes fall into the beginning, where a file says what it holds.
        reach = len(data) if random.random() < 0.5 else min(len(data), 256)
        at = int(random.integers(reach))
        length = int(random.integers(1, 1 + min(64, len(data) - at)))
        kind = int(random.integers(8))
        if kind == 0:
            data[at] ^= 1 << int(random.integers(8))
        elif kind == 1:
            data[at] = int(random.integers(256))
        elif kind == 2:
            number = int(
                random.choice(
                    [0, 1, 2, 0x7F, 0x80, 0xFF, 0x100, 0x7FFF, 0xFFFF, 0x10000, 0x7FFFFFFF, 0xFFFFFFFF, 0x10001, 30000]
                )
            )
            data[at : at + 4] = struct.pack(random.choice(["<I", ">I"]), number)
        elif kind == 3:
            number = int(random.choice([0, 1, 3, 5, 0x7FFF, 0xFFFF, 0x8000, 60000]))
            data[at : at + 2] = struct.pack(random.choice(["<H", ">H"]), number)
        elif kind == 4:
            del data[at:]
        elif kind == 5:
            del data[at : at + length]
        elif kind == 6:
            data[at:at] = data[at : at + length] * int(random.integers(1, 4))
        else:
            data[at : at + length] = bytes([int(random.choice([0, 255]))]) * length
    return bytes(data)


def mutants(seed: int, count: int):
    """(name, bytes) of so many mutated files, each kind in turn."""
    random = np.random.default_rng(seed)
    files = sorted(whole_files().items())
    for index in range(count):
        name, content = files[index % len(files)]
        changed = mutated(content, random)
        if name.endswith(".png") and index % 2:
            changed = with_true_checksums(changed)
        yield f"{index:06d}-{name}", changed


def with_true_checksums(content: bytes) -> bytes:
    """A PNG whose chunks have the checksums of what they hold now, so that what lies behind the checksums is tried as
    well.
    """
    import zlib

    data, at = bytearray(content), 8
    while at + 12 <= len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        if at + 12 + length > len(data):
            break
        end = at + 8 + length
        data[end : end + 4] = struct.pack(">I", zlib.crc32(data[at + 4 : end]))
        at = end + 4
    return bytes(data)
