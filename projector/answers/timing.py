"""Time: what moves, whether a flash lights the whole frame, and the bands of a lamp; values, and sentences about them.

Each answer is (result for programs, units in the keys; words for people).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

from projector import studies
from projector.photometry.exposure import USUAL_SYNC_S, marked_time
from projector.phrases import millimetres, percent

Said = tuple[dict, list[str]]


@dataclass(frozen=True)
class AskedOfTime:
    """What some numbers ask about: how much of the frame a flash lights, movement, and the bands of a lamp."""

    lights: bool
    moves: bool
    swings: bool

    @property
    def anything(self) -> bool:
        """Whether they ask anything at all."""
        return self.lights or self.moves or self.swings


@dataclass(frozen=True)
class Unused:
    """Numbers that no answer goes by, why, and what to try."""

    names: tuple[str, ...]
    why: str
    try_: str


def asked_by(numbers: dict[str, float | None]) -> AskedOfTime:
    """What is asked by the numbers given (those of `timing`)."""
    given = {name for name, value in numbers.items() if value is not None}
    has_flash, has_shutter = bool(given & {"flash_t01_s", "flash_t05_s"}), "shutter_s" in given
    return AskedOfTime(
        lights=has_shutter and (has_flash or "sync_s" in given),
        moves="speed_m_per_s" in given and (has_flash or has_shutter),
        swings=has_shutter and "lamp_hz" in given,
    )


def unused_beside(asked: AskedOfTime, numbers: dict[str, float | None]) -> list[Unused]:
    """What of the numbers no answer would go by; a question that is not asked may leave some of them unused."""
    found = []
    if numbers["flash_t01_s"] is not None and numbers["flash_t05_s"] is not None:
        try_ = "keep --flash-t01-s: it is what movement goes by"
        found.append(Unused(("flash_t05_s",), "--flash-t01-s states the same flash", try_))
    if not asked.anything:
        return found
    if not asked.moves:
        found.append(Unused(("speed_m_per_s",), "movement needs a shutter or a flash", "add --shutter-s 1/125"))
    if not asked.lights:
        found.append(Unused(("sync_s",), "a sync time needs a shutter", "add --shutter-s 1/400"))
    if not asked.lights and not asked.moves:
        why = "a flash answers with a shutter, or with the speed of what moves"
        found.append(Unused(("flash_t01_s", "flash_t05_s"), why, "add --speed-m-per-s 1"))
    if not asked.swings:
        why, try_ = "bands need a lamp and a shutter", "--lamp-hz 100 --shutter-s 1/125"
        found.append(Unused(("lamp_hz", "modulation"), why, try_))
    return found


def timing(numbers: dict[str, float | None], asked: AskedOfTime) -> Said:
    """What is asked of the numbers (shutter_s, speed_m_per_s, flash_t01_s, flash_t05_s, sync_s, lamp_hz, modulation;
    None where not given): how much of the frame a flash lights, how far something moves, which bands a lamp leaves.
    """
    shutter_s, t05_s = numbers["shutter_s"], numbers["flash_t05_s"]
    flash_s = numbers["flash_t01_s"] if t05_s is None else studies.flash_length_s(t05_s)
    # What a question needs was given: the asker saw to it.
    given = {name: value for name, value in numbers.items() if value is not None}
    sync_s = given.get("sync_s", USUAL_SYNC_S)
    frame = studies.flash_in_shutter(given["shutter_s"], sync_s, flash_s) if asked.lights else None
    result: dict = {}
    words: list[str] = []
    if asked.moves:
        result, words = smear(given["speed_m_per_s"], flash_s, shutter_s, frame is None or frame.is_whole)
    if frame is not None:
        words.append(frame_words(frame, given["shutter_s"]))
        result |= {**asdict(frame), "lit_frame_note": words[-1]}
    if asked.swings:
        found = studies.flicker(given["shutter_s"], given["lamp_hz"], given.get("modulation", 1.0))
        result |= asdict(found)
        words.append(flicker_words(found))
    return result, words


def smear(speed_m_per_s: float, flash_s: float | None, shutter_s: float | None, is_whole: bool) -> Said:
    """How far something moves in the light of a flash or of an open shutter, and which of the two rules where the flash
    lights it.
    """
    times = {"flash": flash_s, "shutter": shutter_s}
    light_s, by = min(((time, name) for name, time in times.items() if time is not None), key=lambda pair: pair[0])
    smear_mm = studies.smear_mm(speed_m_per_s, light_s)
    result = {"smear_mm": smear_mm, "light_s": light_s, "frozen_by": by}
    where = "" if is_whole else ", where the flash lights the frame at all"
    words = [f"{speed_m_per_s:g} m/s smears over {millimetres(smear_mm)} in the {light_s:.3g} s of the {by}{where}"]
    if flash_s is None or shutter_s is None:
        return result, words
    if by == "shutter":
        words.append(
            f"the shutter closes before the flash is over ({flash_s:.3g} s): it freezes, and cuts off some of the"
            " flash's light"
        )
        return result, words
    other_mm = studies.smear_mm(speed_m_per_s, shutter_s)
    result["smear_of_other_light_mm"] = other_mm
    words.append(
        f"the shutter is open for longer ({shutter_s:.3g} s), so the flash freezes and not the shutter; only light"
        f" other than the flash's smears over {millimetres(other_mm)}"
    )
    return result, words


def flicker_words(found) -> str:
    """How strong the bands of a lamp are, and the shutter that has none."""
    then = "that passes" if found.passes else f"{found.whole_shutter_s:.4g} s holds whole swings"
    return f"{found.cycles:.2f} swings of the lamp: bands of up to {found.bands_stops:.2f} stops; {then}"


def frame_words(frame, shutter_s: float) -> str:
    """How much of the frame sees the flash."""
    if frame.is_whole:
        return (
            f"the flash lights the whole frame: {marked_time(shutter_s)} is not shorter than the sync time of"
            f" {marked_time(frame.sync_s)}"
        )
    words = (
        f"{marked_time(shutter_s)} is shorter than the sync time of {marked_time(frame.sync_s)}: the flash lights about"
        f" {percent(frame.lit_frame_share)} of the frame, a strip at one side, and the rest stays dark"
    )
    if frame.fading_frame_share >= 0.05:
        words += f"; the strip fades over {percent(frame.fading_frame_share)} of the frame while the flash dies away"
    return (
        words
        + f"; an estimate, blinds differ from camera to camera. Use {marked_time(frame.sync_s)} or longer, or give your"
        " camera's own --sync-s"
    )
