"""The inset file: what the maker wrote down, read and checked.

An inset is lights, an optional box behind, and layers from the light to the viewer.
Neighbouring layers touch (poured, glued or wetted) unless a gap stands between them.
"""

from tintlab.inset.fields import MOST
from tintlab.inset.layers import CURES, read_layer
from tintlab.inset.lights import MOST_COATS
from tintlab.inset.read import keep_inputs, read_inset
from tintlab.inset.records import (
    DEFAULT_TOLERANCE,
    Bathed,
    Cavity,
    Coats,
    Dosed,
    Inset,
    Layer,
    Light,
    Outline,
    Target,
)

__all__ = [
    "CURES",
    "DEFAULT_TOLERANCE",
    "MOST",
    "MOST_COATS",
    "Bathed",
    "Cavity",
    "Coats",
    "Dosed",
    "Inset",
    "Layer",
    "Light",
    "Outline",
    "Target",
    "keep_inputs",
    "read_inset",
    "read_layer",
]
