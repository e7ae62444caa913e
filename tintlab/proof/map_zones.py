"""Thin and thick zones of a piece: how the glow changes over its relief."""

from dataclasses import dataclass

import numpy as np

from tintlab.glow import Look, face_factor, seen, solve_piece, tint_depths
from tintlab.inset import Inset
from tintlab.piece import Piece
from tintlab.proof.face import with_thickness
from tintlab.proof.map_stack import parts_of
from tintlab.spectrum import WAVELENGTHS


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Zone:
    """One zone: thicknesses [mm] of the layers that vary, and what it looks like."""

    thickness: tuple[float, ...]
    look: Look


def zones_of(inset: Inset, piece: Piece, whole: Look) -> dict[str, Zone]:
    """Look at the thinnest and at the thickest zone.

    Parameters
    ----------
    inset : Inset
    piece : Piece
    whole : Look
        At the mean thickness; its undyed luminance is L* 100 for the zones as well,
        and its room is theirs.

    Returns
    -------
    dict
        "thin" and "thick", if the maker gave them. The whole box is shared; only the
        way out differs.
    """
    found = {}
    mean = None
    for name in ("thin", "thick"):
        local = {
            number: float(getattr(layer, name))
            for number, layer in enumerate(inset.layers)
            if getattr(layer, name) is not None
        }
        if not local:
            continue
        eye = np.eye(WAVELENGTHS.size)
        mean = mean or parts_of(piece, eye)
        other = with_thickness(inset, piece, local)
        parts = parts_of(other, eye, like=mean)
        lit = (parts.scattered_mean + parts.image + parts.recycled).sum(axis=0)
        depths, _ = tint_depths(other)
        face = face_factor(other, solve_piece(other, depths))
        found[name] = Zone(
            thickness=tuple(local.values()),
            look=seen(inset, whole.room, lit, whole.undyed, face),
        )
    return found
