"""Room light on the face, and the least LED light that still reads through it.

The unlit face sends back what its surfaces and scatterers reflect, and what enters,
bounces in the box and returns through the tint a second time (`glow.face_factor`). The
room is diffuse. The mirror image of something bright is left out of the verdicts and
given apart, since a viewer steps aside.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.errors import ModelError
from tintlab.glow import Look, miss, veil_XYZ
from tintlab.inset import Inset
from tintlab.materials import Room
from tintlab.optics import normal_reflectance
from tintlab.piece import Piece

Array = NDArray[np.float64]

READS: Final = 2.0  # times the unlit face: the rule of the verdict "too dim"
PHOTOPIC = 5.0  # [cd/m2] below it colours fade: mesopic, CIE 191:2010, from memory
NEAR_BEST, NEAR_REGION = 0.2, 0.002  # of the tolerance; u'v'; from the best, assumed
_LEVELS = np.geomspace(1e-6, 1e6, 481)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomLight:
    """What comes from the face in one room, head-on, in cd/m2.

    Attributes
    ----------
    room : Room
    white : ndarray, shape (3,)
        XYZ of a perfect white card in the room. [cd/m2]
    glow : ndarray, shape (3,)
        Of the lit piece, room light left out. [cd/m2]
    unlit : ndarray, shape (3,)
        Of the face with the LEDs off: the veil. [cd/m2]
    mirror : ndarray, shape (3,)
        That a white wall in the room adds where it is mirrored; 0 for a frosted face.
        In none of the others. [cd/m2]
    """

    room: Room
    white: Array
    glow: Array
    unlit: Array
    mirror: Array

    @property
    def lit(self) -> Array:
        """Glow and veil together, shape (3,). [cd/m2]"""
        return self.glow + self.unlit

    @property
    def contrast(self) -> float:
        """Luminance of the lit over the unlit face; infinite in the dark. [-]"""
        unlit = float(self.unlit[1])
        return float(self.lit[1]) / unlit if unlit > 0 else float("inf")


def room_light(inset: Inset, look: Look, piece: Piece) -> RoomLight:
    """Return what comes from the face in the room of a look.

    Raises
    ------
    ModelError
        When the inset has no size, so that there are no cd/m2.
    """
    if inset.size is None:
        raise ModelError(
            f'asked how "{inset.name}" looks in a room, but its size is not known, so '
            'there are no cd/m2; write [inset] with size = "40 x 60 mm"'
        )
    unlit, white = veil_XYZ(look.room, look.face)
    polished = not inset.layers or inset.layers[-1].finish != "frosted"
    return RoomLight(
        room=look.room,
        white=white,
        glow=MAXIMUM_EFFICACY * spectrum_to_XYZ(look.radiance),
        unlit=unlit,
        mirror=mirrored(look.room, piece) if polished else np.zeros(3),
    )


def mirrored(room: Room, piece: Piece, *, factor: float = 1.0) -> Array:
    """XYZ of a wall's image in the polished face, head-on.

    Parameters
    ----------
    room : Room
    piece : Piece
    factor : float
        Luminance of the mirrored thing over that of a white card on the piece; a lamp
        or a window may have hundreds. [-]

    Returns
    -------
    ndarray, shape (3,)
        Y in cd/m2.
    """
    r = normal_reflectance(n_from=1.0, n_into=piece.slabs[-1].index)
    return factor * veil_XYZ(room, np.ones_like(room.power) * r)[0]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LeastLight:
    """The least LED light with which a piece still does its job in a room.

    Attributes
    ----------
    level : float
        Over the LED light of the file; above 1 it needs more than there is. [-]
    luminance : float
        Of the glow at that level, room light left out. [cd/m2]
    difference : float or None
        To the target at that level; None without a target.
    within : bool or None
        Whether that is within the tolerance; None without a target.
    limit : str
        What asks for the most: "veil", "colour" or "dark eye".
    """

    level: float
    luminance: float
    difference: float | None
    within: bool | None
    limit: str


def least_light(inset: Inset, look: Look) -> LeastLight:
    """Find the least LED light that still reads.

    The glow must be at least twice the unlit face (the rule behind "too dim"), lit
    and veil together must reach the 5 cd/m2 below which colours fade, and the colour,
    veil included, must be within tolerance; where no level brings it there, within a
    fifth of the tolerance (0.002 in u'v') of the best that any level reaches.

    Parameters
    ----------
    inset : Inset
        With a size.
    look : Look
        In the room that is asked about.

    Returns
    -------
    LeastLight
    """
    glow = MAXIMUM_EFFICACY * spectrum_to_XYZ(look.radiance)
    anchor = MAXIMUM_EFFICACY * spectrum_to_XYZ(look.undyed)[1]
    veil = veil_XYZ(look.room, look.face)[0]
    if glow[1] <= 0:
        raise ModelError(
            f'asked for the least light of "{inset.name}", which lets none out; use '
            "less dye, or another LED"
        )

    def gap(levels: ArrayLike) -> Array | None:
        return miss(inset, (glow + veil / np.asarray(levels)[..., None]) / anchor)

    asked = {
        "veil": READS * veil[1] / glow[1],
        "dark eye": max(PHOTOPIC - veil[1], 0.0) / glow[1],
    }
    limit = max(asked, key=lambda key: asked[key])
    level = float(asked[limit])
    levels = np.concatenate([[level], _LEVELS[level < _LEVELS]])
    gaps = gap(levels)
    if gaps is None or inset.target is None:
        return LeastLight(
            level=level,
            luminance=float(level * glow[1]),
            difference=None,
            within=None,
            limit=limit,
        )
    region = inset.target.region is not None
    tolerance = 0.0 if region else inset.target.tolerance
    best = float(gaps.min())
    near = NEAR_REGION if region else NEAR_BEST * tolerance
    allowed = tolerance if best <= tolerance else best + near
    first = int(np.argmax(gaps <= allowed))
    if first > 0:
        level, limit = _crossing(gap, allowed, levels[first - 1], levels[first])
    found = gap(level)
    difference = float(found) if found is not None else np.inf
    return LeastLight(
        level=level,
        luminance=float(level * glow[1]),
        difference=difference,
        within=difference <= tolerance + 1e-9,
        limit=limit,
    )


def _crossing(
    gap: Callable[[ArrayLike], Any], allowed: float, low: float, high: float
) -> tuple[float, str]:
    """Halve, in the logarithm, down to where the colour becomes good enough."""
    for _ in range(30):
        middle = float(np.sqrt(low * high))
        low, high = (low, middle) if gap(middle) <= allowed else (middle, high)
    return float(high), "colour"
