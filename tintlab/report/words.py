"""A colour in plain words. The boundaries are our own, set by eye on sRGB patches."""

from bisect import bisect_right

import numpy as np
from numpy.typing import ArrayLike

# upper end of each hue in CIELAB hue angle [deg]
_HUES = (
    (15, "pinkish red"),
    (45, "red"),
    (58, "orange red"),
    (76, "orange"),
    (90, "yellowish orange"),
    (106, "yellow"),
    (118, "greenish yellow"),
    (131, "yellowish green"),
    (158, "green"),
    (200, "bluish green"),
    (238, "greenish blue"),
    (292, "blue"),
    (308, "violet blue"),
    (322, "violet"),
    (338, "purple"),
    (352, "pinkish purple"),
    (360, "pinkish red"),
)
_CHROMAS = ((18, "faint"), (35, "soft"), (60, "fairly vivid"), (90, "vivid"))


def described(Lab: ArrayLike) -> str:
    """Name a colour: "bluish green, fairly vivid".

    Parameters
    ----------
    Lab : array_like, shape (3,)

    Examples
    --------
    >>> described([62, -38, 4])
    'bluish green, fairly vivid'
    """
    L, a, b = np.asarray(Lab, dtype=float)
    chroma = float(np.hypot(a, b))
    if L < 4:
        return "almost black"
    if chroma < 6:
        return "neutral"
    hue = float(np.degrees(np.arctan2(b, a)) % 360)
    name = _HUES[bisect_right([end for end, _ in _HUES[:-1]], hue)][1]
    strength = bisect_right([end for end, _ in _CHROMAS], chroma)
    word = _CHROMAS[strength][1] if strength < len(_CHROMAS) else "very vivid"
    return f"{name}, {word}"
