"""What a console can take: signs that it cannot print become plain letters, and a pipe that somebody closed is no
fault.
"""

from __future__ import annotations

import codecs
import contextlib
import json
import os
import sys
import unicodedata

from projector.answers.as_json import finite

# Signs of ours that no accent can be taken off of; what is not here loses its accents, or becomes a question mark.
_PLAIN = {
    "×": "x", "°": " deg", "Δ": "delta ", "λ": "lambda", "·": "*", "±": "+/-", "−": "-", "–": "-", "—": "-", "…": "...",
    "²": "2", "³": "3", "½": ".5", "⅓": ".33", "⅔": ".67", "µ": "u", "μ": "u", "Ω": "ohm", "≤": "<=", "≥": ">=",
    "≈": "~", "→": "->", "‘": "'", "’": "'", "“": '"', "”": '"', "•": "*",
}  # fmt: skip
_HANDLER = "projector-plain-letters"


def plain_letters(text: str) -> str:
    """A text in letters that every console has: "2 × 3 m" becomes "2 x 3 m"."""
    return "".join(_plain_letter(letter) for letter in text)


def _plain_letter(letter: str) -> str:
    if letter.isascii():
        return letter
    if letter in _PLAIN:
        return _PLAIN[letter]
    return unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode() or "?"


def _instead(error: UnicodeError) -> tuple[str | bytes, int]:
    """What Python prints in the place of signs that the console's own letters lack."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    signs = error.object[error.start : error.end]
    # A byte of a file's name that is no letter comes in as a half of a pair; it goes out as the byte that it was.
    if all(0xDC80 <= ord(sign) <= 0xDCFF for sign in signs):
        return bytes(ord(sign) - 0xDC00 for sign in signs), error.end
    return "".join(_plain_letter(sign) for sign in signs), error.end


def speak_plainly_where_needed() -> None:
    """Let both streams fall back to plain letters instead of failing at a sign."""
    codecs.register_error(_HANDLER, _instead)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors=_HANDLER)


def json_text(value, indent: int | None = None) -> str:
    """JSON in letters as they are, or all in ASCII where the console lacks one of them; null for what JSON has no
    number for.
    """
    value = finite(value)
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, indent=indent)
    try:
        text.encode(getattr(sys.stdout, "encoding", None) or "utf-8")
    except UnicodeEncodeError:
        text = json.dumps(value, ensure_ascii=True, allow_nan=False, indent=indent)
    return text


def say(text: str) -> None:
    """A line of the answer. Nobody may be listening any more; OSError where it finds no room."""
    with contextlib.suppress(BrokenPipeError):
        print(text)


def say_error(text: str) -> None:
    """A line for people that is not the answer: on stderr, or nowhere if there is none."""
    if sys.stderr is not None:
        with contextlib.suppress(OSError):
            print(text, file=sys.stderr)


def finish_streams() -> OSError | None:
    """Write out what is still held back.

    A pipe that was closed is let go quietly; another failure of stdout is returned.
    """
    failure = None
    for stream in (sys.stdout, sys.stderr):
        if stream is None:
            continue
        try:
            stream.flush()
        except BrokenPipeError:
            _let_go(stream)
        except OSError as error:
            _let_go(stream)
            failure = error if stream is sys.stdout else failure
        except ValueError:  # closed already
            pass
    return failure


def _let_go(stream) -> None:
    """Send the rest of a stream nowhere, so that Python does not fail at it once more when it ends."""
    with contextlib.suppress(OSError, ValueError), open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), stream.fileno())
