"""Values as JSON allows them."""

from __future__ import annotations

import math
from pathlib import Path


def finite(value):
    """The same value with null for what JSON has no number for."""
    if isinstance(value, dict):
        return {key: finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [finite(item) for item in value]
    if hasattr(value, "tolist"):
        return finite(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, Path):
        return str(value)
    return value
