"""A physically based previewer for patterns thrown by a projection attachment.

    scene.toml ──read──▶ Scene ──flatten──▶ SceneArrays ──kernels──▶ Picture · IrradianceMap ──▶ studies ──▶ reports
                (checked, SI, frozen)   (flat, float, contiguous)                                   │
                                                                             command line · live page · Python

Public names load on first use, so that `import projector` costs next to nothing.
"""

import lazy_loader

from projector import shown

__version__ = "0.1.0"

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def _figure_of(result):
    from projector.reports.drawn import figure_of

    return figure_of(result)


# Reports stand above everything that has results: they are told here who draws them.
shown.figures_by(_figure_of)
