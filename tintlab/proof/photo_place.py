"""Where the inset is in a photo: a mask picture, or corners.

Four corners are those of the rectangle around the inset and say how it lies in the
perspective of the photo. A mask or a polygon of more corners shows the outline only, so
a four-sided figure of little area is laid around it; every island of a mask is an inset
of its own (two eyes of one mask).
"""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageOps
from scipy import ndimage
from scipy.spatial import ConvexHull

from tintlab.chips import photo_open
from tintlab.errors import InsetError

Array = NDArray[np.float64]
Coverage = NDArray[np.float32]

FINER = 8  # lines through each row of pixels, for the edge of a polygon
LEAST_AREA = 16.0  # [pixels] of an inset that can be seen
THRESHOLD = 0  # code of a mask that is still outside
LEAST_ISLAND = 0.02  # of the largest; smaller islands of a mask are specks
UPRIGHT = 1.05  # area of the upright box over that of the tilted one, still upright
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_POLYGON = re.compile(
    rf"\s*{_NUMBER}\s*,\s*{_NUMBER}(?:[\s;]+{_NUMBER}\s*,\s*{_NUMBER})*\s*"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Place:
    """One inset in a photo.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        x, y of the rectangle around the inset: its upper left corner, upper right,
        lower right, lower left. [pixels]
    left, top : int
        Of the coverage in the photo. [pixels]
    coverage : ndarray of float32, shape (height, width)
        Share of each pixel that the inset takes, 0 to 1.
    fitted : bool
        Whether the corners were found by us.
    outlined : bool
        Whether the coverage is the inset's own outline already; otherwise its
        outline is that of the inset file inside the corners.
    """

    corners: Array
    left: int
    top: int
    coverage: Coverage
    fitted: bool
    outlined: bool


def places(text: str, *, size: tuple[int, int]) -> list[Place]:
    """Read where an inset is.

    Parameters
    ----------
    text : str
        Corners "120,80 300,90 310,240 115,230", the upper left one of the inset
        first, or the name of a mask picture, white where the inset is.
    size : tuple of int
        Width and height of the photo, the right way up. [pixels]

    Raises
    ------
    InsetError
        For corners that cross or leave the photo, a mask of another size, nothing in
        it.
    """
    if _POLYGON.fullmatch(text):
        return [_from_corners(text, size)]
    return _from_mask(Path(text), size)


# ---------------------------------------------------------------------- corners


def _from_corners(text: str, size: tuple[int, int]) -> Place:
    numbers = [float(n) for n in re.findall(_NUMBER, text)]
    corners = np.array(numbers).reshape(-1, 2)
    _check(corners, text.strip(), size)
    clockwise = corners
    if _area(corners) < 0:  # y is down: a positive area runs clockwise as seen
        clockwise = np.roll(corners[::-1], 1, axis=0)
    four = len(corners) == 4
    if four and not _convex(clockwise):
        raise InsetError(
            f'the corners "{text.strip()}" have a dent, so they are no rectangle seen '
            "from anywhere; give the four corners around the inset, or a mask picture"
        )
    left, top, coverage = _painted(corners, size)
    return Place(
        corners=clockwise if four else quadrilateral(corners),
        left=left,
        top=top,
        coverage=coverage,
        fitted=not four,
        outlined=not four,
    )


def _check(corners: Array, text: str, size: tuple[int, int]) -> None:
    if len(corners) < 3:
        raise InsetError(
            f'the inset "{text}" has fewer than three corners; give four, the upper '
            'left one first, as in "120,80 300,90 310,240 115,230"'
        )
    outside = (corners < 0).any(axis=1) | (corners > size).any(axis=1)
    if outside.any():
        x, y = corners[outside.argmax()]
        raise InsetError(
            f"the corner {x:g},{y:g} lies outside the photo of {size[0]} x {size[1]} "
            "pixels; choose corners inside"
        )
    if _crosses(corners):
        raise InsetError(
            f'the outline "{text}" crosses itself; give its corners in order around '
            "the inset"
        )
    if abs(_area(corners)) < LEAST_AREA:
        raise InsetError(
            f'the outline "{text}" holds less than {LEAST_AREA:g} pixels, too few to '
            "show a glow; check its corners, or use a larger photo"
        )


def _area(corners: Array) -> float:
    """Area by the shoelace formula; positive clockwise as seen, y down. [pixels]"""
    x, y = corners.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _convex(corners: Array) -> bool:
    along = np.roll(corners, -1, axis=0) - corners
    turn = _cross(along, np.roll(along, -1, axis=0))
    return bool((turn > 0).all())


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _crosses(corners: Array) -> bool:
    """Whether two edges that are no neighbours meet, or a corner comes twice."""
    count = len(corners)
    if len(np.unique(corners, axis=0)) < count:
        return True
    ends = np.roll(corners, -1, axis=0)
    i, j = np.triu_indices(count, 1)
    apart = ((j - i) > 1) & ((i + count - j) > 1)
    a, b, c, d = (p[k] for p, k in zip((corners, ends) * 2, (i, i, j, j), strict=True))
    sides = [_cross(b - a, c - a) * _cross(b - a, d - a) <= 0]
    sides.append(_cross(d - c, a - c) * _cross(d - c, b - c) <= 0)
    near = (np.maximum(a, b) >= np.minimum(c, d)).all(axis=1)
    near &= (np.maximum(c, d) >= np.minimum(a, b)).all(axis=1)
    return bool((sides[0] & sides[1] & near & apart).any())


def _painted(corners: Array, size: tuple[int, int]) -> tuple[int, int, Coverage]:
    """Share of each pixel inside a polygon, on several lines through its row.

    Each crossing of an edge counts for all pixels left of it and for its share of its
    own; crossings upwards and downwards have opposite signs.
    """
    left, top = np.maximum(np.floor(corners.min(axis=0)), 0).astype(int)
    right, bottom = np.minimum(np.ceil(corners.max(axis=0)), size).astype(int)
    height, width = bottom - top, right - left
    steps = np.zeros((height, width + 2))
    y = top + (np.arange(FINER * height) + 0.5) / FINER
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        (met,) = np.nonzero((y >= min(y0, y1)) & (y < max(y0, y1)))
        if not met.size:
            continue
        x = x0 + (y[met] - y0) / (y1 - y0) * (x1 - x0) - left
        column = np.floor(x).astype(int)
        share = x - column
        sign = np.sign(y1 - y0) / FINER
        row = met // FINER
        np.add.at(steps, (row, np.zeros_like(row)), sign)
        np.add.at(steps, (row, column), sign * (share - 1))
        np.add.at(steps, (row, column + 1), -sign * share)
    coverage = np.abs(np.cumsum(steps, axis=1)[:, :width])
    return int(left), int(top), np.clip(coverage, 0, 1).astype(np.float32)


# ------------------------------------------------------------------------- masks


def _from_mask(path: Path, size: tuple[int, int]) -> list[Place]:
    if not path.exists():
        raise InsetError(
            f'asked for the inset "{path}": it is neither a picture nor corners; give '
            'a mask picture, white where the inset is, or "120,80 300,90 310,240 '
            '115,230"'
        )
    with photo_open.opened(path) as picture:
        picture.load()
        ImageOps.exif_transpose(picture, in_place=True)
        values = _brightness(picture)
    if values.shape[::-1] != size:
        width, height = values.shape[::-1]
        raise InsetError(
            f'the mask "{path.name}" has {width} x {height} pixels, the photo (the '
            f"right way up) {size[0]} x {size[1]}; paint the mask over the photo itself"
        )
    rows = np.flatnonzero((values > THRESHOLD).any(axis=1))
    columns = np.flatnonzero((values > THRESHOLD).any(axis=0))
    if not rows.size:
        raise _empty(path)
    box = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    shares = np.asarray(values[box] / _top(values), dtype=np.float32)
    if float(np.max(values)) < 0.9 * _top(values):
        raise InsetError(
            f'the mask "{path.name}" has grey at most; paint the inset white'
        )
    found = [
        _island(shares, (int(columns[0]), int(rows[0])), *spot)
        for spot in _islands(shares, path, size)
    ]
    return [place for place in found if place is not None]


def _brightness(picture: Image.Image) -> NDArray[Any]:
    """Brightness of a mask of any depth, in its codes; transparent is outside."""
    if picture.mode.startswith("I"):
        return np.asarray(np.clip(np.asarray(picture), 0, 65535), dtype=np.uint16)
    values = np.asarray(picture.convert("L"))
    if "A" in picture.mode or "transparency" in picture.info:
        clear = np.asarray(picture.convert("RGBA").getchannel("A"), dtype=float) / 255
        values = (values * clear).astype(np.uint8)
    return values


def _top(values: NDArray[Any]) -> float:
    return float(np.iinfo(values.dtype).max)


def _empty(path: Path) -> InsetError:
    return InsetError(
        f'the mask "{path.name}" has no white area of {LEAST_AREA:g} pixels; paint the '
        "inset white on black"
    )


def _islands(
    shares: Coverage, path: Path, size: tuple[int, int]
) -> list[tuple[NDArray[np.int32], int, tuple[slice, slice]]]:
    """Part a mask into islands: labels, number, and the box of each."""
    labels, count = ndimage.label(shares > 0, structure=np.ones((3, 3)))
    areas = ndimage.sum_labels(shares, labels, np.arange(1, count + 1))
    if areas.max() < LEAST_AREA:
        raise _empty(path)
    if areas.max() > 0.95 * size[0] * size[1]:
        raise InsetError(
            f'the mask "{path.name}" is white nearly everywhere; paint only the inset '
            "white, all else black"
        )
    least = LEAST_ISLAND * areas.max()
    return [
        (labels, i + 1, box)
        for i, box in enumerate(ndimage.find_objects(labels))
        if box is not None and areas[i] >= least
    ]


def _island(
    shares: Coverage,
    origin: tuple[int, int],
    labels: NDArray[np.int32],
    number: int,
    box: tuple[slice, slice],
) -> Place | None:
    left, top = origin[0] + box[1].start, origin[1] + box[0].start
    coverage = np.where(labels[box] == number, shares[box], np.float32(0))
    solid = coverage >= 0.5
    y = np.flatnonzero(solid.any(axis=1))
    if solid.sum() < LEAST_AREA / 2:
        return None
    first, last = (
        solid[y].argmax(axis=1),
        solid.shape[1] - solid[y, ::-1].argmax(axis=1),
    )
    # upper and lower end of each row's outermost pixels, whose outside counts
    around = np.concatenate(
        [np.stack([x, y + j], axis=-1) for x in (first, last) for j in (0, 1)]
    )
    return Place(
        corners=quadrilateral(around + np.array([left, top])),
        left=left,
        top=top,
        coverage=coverage,
        fitted=True,
        outlined=True,
    )


# --------------------------------------------------------------- the four corners


def quadrilateral(points: ArrayLike) -> Array:
    """Lay four corners closely around points.

    The convex hull loses one edge after the other, each time the one whose neighbours,
    prolonged until they meet, add the least area, until four edges are left. A figure
    that is hardly smaller than the upright box is taken as upright: a round inset has
    no other sense of direction.

    Parameters
    ----------
    points : array_like, shape (n, 2)

    Returns
    -------
    ndarray, shape (4, 2)
        Clockwise as seen (y down), from the upper left.
    """
    points = np.asarray(points, dtype=float)
    hull = points[ConvexHull(points).vertices]  # clockwise as seen
    low, high = hull.min(axis=0), hull.max(axis=0)
    box = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
    while len(hull) > 4:
        hull = _fewer(hull)
    if len(hull) < 4 or UPRIGHT * abs(_area(hull)) >= _area(box):
        return box
    return np.roll(hull, -int(hull.sum(axis=1).argmin()), axis=0)


def _fewer(hull: Array) -> Array:
    """Take away the edge that adds least area when its neighbours are prolonged."""
    start, end = hull, np.roll(hull, -1, axis=0)
    before, after = np.roll(hull, 1, axis=0), np.roll(hull, -2, axis=0)
    along, back = start - before, end - after
    turn = _cross(along, back)
    with np.errstate(divide="ignore", invalid="ignore"):
        reach = _cross(end - start, back) / turn
        meets = start + reach[:, None] * along
        added = np.abs(_cross(end - start, meets - start)) / 2
    added = np.where((reach > 0) & np.isfinite(added), added, np.inf)
    i = int(added.argmin())
    if not np.isfinite(added[i]):
        return hull[:4]
    fewer = hull.copy()
    fewer[i] = meets[i]
    return np.delete(fewer, (i + 1) % len(hull), axis=0)


# -------------------------------------------------------------------- perspective


def homography(source: ArrayLike, target: ArrayLike) -> Array:
    """Find the perspective that takes four points to four others.

    Parameters
    ----------
    source, target : array_like, shape (4, 2)

    Returns
    -------
    ndarray, shape (3, 3)
        H with H[2, 2] = 1: (x, y, 1) goes to H (x, y, 1), divided by its third part.

    Notes
    -----
    u (g x + h y + 1) = a x + b y + c and v (g x + h y + 1) = d x + e y + f for each
    point: eight linear equations (Heckbert 1989, section 2.2.3).
    """
    x, y = np.asarray(source, dtype=float).T
    u, v = np.asarray(target, dtype=float).T
    one, nil = np.ones(4), np.zeros(4)
    rows_u = np.stack([x, y, one, nil, nil, nil, -u * x, -u * y], axis=-1)
    rows_v = np.stack([nil, nil, nil, x, y, one, -v * x, -v * y], axis=-1)
    system = np.concatenate([rows_u, rows_v])
    solved = np.linalg.solve(system, np.concatenate([u, v]))
    return np.append(solved, 1.0).reshape(3, 3)
