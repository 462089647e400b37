"""What the fields of haze say together: one statement of how dense it is."""

from __future__ import annotations

from projector.scene.checks.report import Report

_ALLOWED = "loss_percent with over_m, or extinction_per_m"


def check_haze(report: Report, scene) -> None:
    """Fault haze that says nothing of its density, two things, or half of one."""
    haze = scene.haze
    if haze is None:
        return
    stated = [name for name in ("loss_percent", "over_m", "extinction_per_m") if getattr(haze, name) is not None]
    if stated in (["loss_percent", "over_m"], ["extinction_per_m"]):
        return
    if not stated:
        found, try_ = "haze that does not say how dense it is", "a light haze: loss_percent = 10, over_m = 4"
    elif "extinction_per_m" in stated:
        found, try_ = f"two statements of density: {', '.join(stated)}", "keep the one that you know"
    else:
        missing = "over_m" if stated == ["loss_percent"] else "loss_percent"
        found, try_ = f"{stated[0]} without {missing}", f"add {missing}"
    report.fault(("haze",), "haze", found, _ALLOWED, try_)
