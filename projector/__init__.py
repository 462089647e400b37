"""A physically based previewer for patterns thrown by a projection attachment.

    scene.toml ──read──▶ Scene ──flatten──▶ SceneArrays ──kernels──▶ Picture · IrradianceMap ──▶ studies ──▶ reports
                (checked, SI, frozen)   (flat, float, contiguous)                                   │
                                                                             command line · live page · Python

Public names load on first use, so that `import projector` costs next to nothing.
"""

from __future__ import annotations

import importlib

__version__ = "0.1.0"

_HOME_OF = {
    "load": "projector.scene.reading.reader",
    "load_text": "projector.scene.reading.reader",
    "with_overrides": "projector.scene.reading.reader",
    "save_scene": "projector.scene.reading.saving",
    "Scene": "projector.scene.model",
    "SceneError": "projector.faults",
    "Pose": "projector.geometry",
    "preview": "projector.rendering.preview",
    "irradiance_map": "projector.rendering.irradiance",
    "RenderSession": "projector.rendering.session",
    "landing": "projector.studies.size.landing",
    "camera_blur": "projector.studies.size.landing",
}

__all__ = ["__version__", *_HOME_OF]


def __getattr__(name: str):
    if name not in _HOME_OF:
        raise AttributeError(f"module 'projector' has no attribute '{name}'")
    return getattr(importlib.import_module(_HOME_OF[name]), name)


def __dir__():
    return sorted(__all__)
