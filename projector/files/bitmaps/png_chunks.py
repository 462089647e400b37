"""A PNG without what does not touch its pixels: texts, colour profiles and the rest are stepped over unread.

A decoder that meets a text or a profile beyond its own limits, or a broken one, refuses a picture that is whole. Layout
and checksums as ISO/IEC 15948, clause 5.
"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

from projector.files.bitmaps.kinds import Damaged

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# Where programs leave the camera's orientation beside the eXIf chunk.
_ORIENTATION_TEXTS = (b"Raw profile type exif\0", b"Raw profile type APP1\0", b"XML:com.adobe.xmp\0")
_LONGEST_TEXT = 1 << 20
_PIECE = 1 << 20


class PngChunks:
    """The chunks of a PNG: bits a channel, colour type, number of pictures,
    and the file again with only some of them.
    """

    def __init__(self, path: Path):
        """Walk over the file's chunks. Damaged if one that carries the picture is cut short or has a wrong checksum."""
        self._path = path
        self._picture: list[tuple[int, int]] = [(0, len(_SIGNATURE))]
        self._with_metadata = list(self._picture)
        self.has_metadata = False
        self.n_pictures = 1
        self._header_at = 0
        with path.open("rb") as file:
            if file.read(len(_SIGNATURE)) != _SIGNATURE:
                raise Damaged("its first bytes are wrong")
            while self._chunk(file):
                pass

    def _chunk(self, file) -> bool:
        """Note one chunk; False after the last."""
        start = file.tell()
        head = file.read(8)
        if len(head) < 8:
            raise Damaged("its end is missing")
        length, name = struct.unpack(">I4s", head)
        if not name.isalpha() or (start == len(_SIGNATURE)) != (name == b"IHDR"):
            raise Damaged(f"no chunk begins at byte {start}")
        # A small first letter: the picture can be had without it.
        needed = not name[:1].islower() or name == b"tRNS"
        first = file.read(min(length, _PIECE))
        if needed:
            self._check(file, name, length, first)
        else:
            file.seek(start + 12 + length)
        span = (start, 12 + length)
        if name == b"IHDR":
            if length != 13:
                raise Damaged("its header is not 13 bytes long")
            self.bits, self.colour_type = first[8], first[9]
            self._header_at = start + 4
        if name == b"acTL" and length == 8:
            self.n_pictures = max(1, struct.unpack(">I", first[:4])[0])
        if needed:
            self._picture.append(span)
        if needed or name == b"eXIf" or (length < _LONGEST_TEXT and first.startswith(_ORIENTATION_TEXTS)):
            self.has_metadata |= not needed
            self._with_metadata.append(span)
        return name != b"IEND"

    @staticmethod
    def _check(file, name: bytes, length: int, first: bytes) -> None:
        checksum, left = zlib.crc32(first, zlib.crc32(name)), length - len(first)
        while left > 0:
            piece = file.read(min(left, _PIECE))
            if not piece:
                break
            checksum, left = zlib.crc32(piece, checksum), left - len(piece)
        end = file.read(4)
        if left > 0 or len(end) < 4:
            raise Damaged("its end is missing")
        if struct.unpack(">I", end)[0] != checksum:
            raise Damaged(f"the checksum of its {name.decode()} block is wrong")

    def stream(self, with_metadata: bool, as_8_bit_rgba: bool = False) -> io.BufferedReader:
        """The PNG as a file of the chunks that carry the picture, and those that may tell how it is turned.

        as_8_bit_rgba: with a header that says so. Grey and alpha of 16 bits lie in the same bytes, filtered alike.
        """
        spans = self._with_metadata if with_metadata else self._picture
        if not as_8_bit_rgba:
            return io.BufferedReader(_Spans(self._path, spans))
        with self._path.open("rb") as file:
            file.seek(self._header_at)
            header = bytearray(file.read(len(b"IHDR") + 13))
        header[12:14] = (8, 6)
        header += struct.pack(">I", zlib.crc32(header))
        start = _SIGNATURE + struct.pack(">I", 13) + bytes(header)
        return io.BufferedReader(_Spans(self._path, spans[2:], start))


class _Spans(io.RawIOBase):
    """Parts (start, length) of a file as one file, after some bytes of another beginning."""

    def __init__(self, path: Path, spans: list[tuple[int, int]], before: bytes = b""):
        self._file = path.open("rb")
        self._before = before
        self._spans = spans
        self._ends = [len(before)]
        for _, length in spans:
            self._ends.append(self._ends[-1] + length)
        self._at = 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def seek(self, offset: int, whence: int = io.SEEK_SET) -> int:
        self._at = max(0, offset + {io.SEEK_SET: 0, io.SEEK_CUR: self._at, io.SEEK_END: self._ends[-1]}[whence])
        return self._at

    def readinto(self, buffer) -> int:
        """Fill the buffer from the part that the position lies in."""
        import bisect

        part = bisect.bisect_right(self._ends, self._at)
        if part == len(self._ends):
            return 0
        wanted = min(len(buffer), self._ends[part] - self._at)
        if part == 0:
            data = self._before[self._at : self._at + wanted]
        else:
            self._file.seek(self._spans[part - 1][0] + self._at - self._ends[part - 1])
            data = self._file.read(wanted)
        buffer[: len(data)] = data
        self._at += len(data)
        return len(data)

    def close(self) -> None:
        self._file.close()
        super().close()
