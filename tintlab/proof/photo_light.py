"""Light in a photo: the glow in perspective, what it spills, what a lens scatters.

All values are in linear units of the photo (1 is its white), one plane a channel. What
varies slowly (spill, bloom) is reckoned on a coarse grid and spread out again while the
picture is put together.

Spill is assumed, not measured, and kept small: the inset shines as a Lambertian patch,
and a share `SPILT` of its light falls on what stands near it, as on a plane parallel to
the face at the height `REACH`: E = L h^2 dA / (h^2 + d^2)^2, whose integral over the
plane is pi L dA. So no more light leaves the surroundings than the share that was spilt
on them. How much of it they send back follows from how bright they are in the photo.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image
from scipy import fft, ndimage

from tintlab.proof import glare
from tintlab.proof.face import FaceMap
from tintlab.proof.photo_place import Coverage, Place, homography

Array = NDArray[np.float64]
Plane = NDArray[np.float32]

COARSE = 288  # [samples] about, on the longer side of a coarse grid
SPILT = 0.05  # of the inset's light, on what is near it; assumed
REACH = 0.35  # of the inset's shorter side: height of that plane; assumed
MARGIN = 0.25  # of the face map repeated outwards, for outlines that leave the corners
FLARE = 0.02  # of the light that a lens scatters about an image; assumed
FLARE_CORE = 0.006  # of the diagonal: radius within which 29 % of it stays; assumed
AGE, PIGMENT = 30.0, 0.5  # of the viewer, for the stray light in the eye; assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """One inset as it is laid into the photo.

    Attributes
    ----------
    place : Place
    coverage : ndarray of float32, shape (height, width)
        Share of each pixel that is inset.
    glow : ndarray of float32, shape (n_responses, height, width)
        Weighted radiance of the glow, as in the face map.
    scale : float
        Of the photo at the inset. [pixels/mm]
    """

    place: Place
    coverage: Coverage
    glow: Plane
    scale: float


def laid(place: Place, face: FaceMap, size: tuple[float, float]) -> Patch:
    """Lay a face map into a photo.

    Parameters
    ----------
    place : Place
    face : FaceMap
    size : tuple of float
        Width and height of the inset. [mm]
    """
    margin = max(2, round(MARGIN * max(face.inside.shape)))
    values = _filled(face, margin)
    rectangle = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * np.array(size) / 2
    area = _shoelace(place.corners)
    scale = float(np.sqrt(area / (size[0] * size[1])))
    finer = int(np.clip(round(scale * face.spacing / 2), 1, 6))
    origin = np.array([face.x[0], face.y[0]]) - (margin + 0.5) * face.spacing
    source = (rectangle - origin) / face.spacing * finer
    target = place.corners - (place.left, place.top)
    back = homography(target, source)
    height, width = place.coverage.shape

    def warp(plane: Array) -> Plane:
        image = Image.fromarray(plane.astype(np.float32))
        if finer > 1:
            sides = (image.width * finer, image.height * finer)
            image = image.resize(sides, Image.Resampling.BICUBIC)
        return np.asarray(
            image.transform(
                (width, height),
                Image.Transform.PERSPECTIVE,
                tuple(back.ravel()[:8]),
                Image.Resampling.BILINEAR,
            )
        )

    coverage = place.coverage
    if not place.outlined and not (face.inside == 1).all():
        inside = np.pad(face.inside, margin)
        coverage = coverage * np.clip(warp(inside), 0.0, 1.0)
    glow = np.stack([np.maximum(warp(plane), 0.0) for plane in values])
    return Patch(place=place, coverage=coverage, glow=glow, scale=scale)


def _filled(face: FaceMap, margin: int) -> Array:
    """Repeat the glow beyond the outline and the map, shape (n, rows, columns)."""
    solid = face.inside >= min(0.5, float(face.inside.max()))
    _, (rows, columns) = ndimage.distance_transform_edt(~solid, return_indices=True)
    values = np.moveaxis(face.values[rows, columns], -1, 0)
    return np.pad(values, ((0, 0), (margin, margin), (margin, margin)), mode="edge")


def _shoelace(corners: Array) -> float:
    x, y = corners.T
    return abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2))


# ----------------------------------------------------------------- coarse fields


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Grid:
    """A coarse grid over a photo of (height, width): one sample for step x step."""

    height: int
    width: int
    step: int

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the coarse grid."""
        return -(-self.height // self.step), -(-self.width // self.step)


def grid_over(height: int, width: int) -> Grid:
    """Choose a coarse grid."""
    step = max(1, -(-max(height, width) // COARSE))
    return Grid(height=height, width=width, step=step)


def coarse(planes: Plane, patch: Patch, grid: Grid) -> Array:
    """Average planes at an inset, weighted by its coverage, shape (n, rows, columns).

    Parameters
    ----------
    planes : ndarray, shape (n, height, width)
        Over the patch.
    """
    step, place = grid.step, patch.place
    height, width = patch.coverage.shape
    above, before = place.top % step, place.left % step
    below, after = -(above + height) % step, -(before + width) % step
    padded = np.pad(planes * patch.coverage, ((0, 0), (above, below), (before, after)))
    rows, columns = padded.shape[1] // step, padded.shape[2] // step
    means = padded.reshape(len(planes), rows, step, columns, step).mean(axis=(2, 4))
    found = np.zeros((len(planes), *grid.shape))
    top, left = place.top // step, place.left // step
    found[:, top : top + rows, left : left + columns] = means
    return found


def spread_out(light: ArrayLike, kernel: Array) -> Array:
    """Convolve planes with a kernel twice their size less one; what leaves is lost.

    The period of the Fourier transform is that of the kernel: what wraps around stays
    out of the part that is kept.
    """
    light = np.asarray(light, dtype=np.float32)
    rows, columns = light.shape[1:]
    size = [fft.next_fast_len(n, real=True) for n in kernel.shape]
    factors = fft.rfft2(kernel.astype(np.float32), s=size)
    spread = fft.irfft2(fft.rfft2(light, s=size) * factors, s=size)
    return np.maximum(
        spread[:, rows - 1 : 2 * rows - 1, columns - 1 : 2 * columns - 1], 0
    )


def distances(grid: Grid) -> Array:
    """Distance of every sample from the middle one, for kernels. [pixels]"""
    rows, columns = grid.shape
    y, x = np.mgrid[1 - rows : rows, 1 - columns : columns] * grid.step
    return np.hypot(x, y)


def spill_kernel(grid: Grid, height: float) -> Array:
    """h^2 / (pi (h^2 + d^2)^2), summing to 1 or a little less, h and d in pixels."""
    squares = height**2 + distances(grid) ** 2
    kernel = height**2 / np.pi / squares**2 * grid.step**2
    return np.asarray(kernel / max(1.0, kernel.sum()))


def flare_kernel(grid: Grid) -> Array:
    """Scatter of a camera's lens, (1 + (r/r_0)^2)^(-3/2) / (2 pi r_0^2); assumed."""
    core = FLARE_CORE * np.hypot(grid.height, grid.width)
    kernel = (1 + (distances(grid) / core) ** 2) ** -1.5 / (2 * np.pi * core**2)
    kernel = kernel * grid.step**2
    return np.asarray(FLARE * kernel / max(1.0, kernel.sum()))


def eye_kernel(grid: Grid, degrees_per_pixel: float) -> Array:
    """Scatter of the eye (`tintlab.proof.glare`), a share for each sample."""
    quarter = glare.kernel(
        grid.shape,
        degrees_per_pixel=degrees_per_pixel * grid.step,
        age=AGE,
        pigment=PIGMENT,
    )
    half = np.concatenate([quarter[:0:-1], quarter])
    return np.concatenate([half[:, :0:-1], half], axis=1)


def spill(light: Sequence[Array], patches: Sequence[Patch], grid: Grid) -> Array:
    """Light that falls on the surroundings, over pi: radiance of a white near by.

    Parameters
    ----------
    light : sequence of ndarray, shape (3, rows, columns)
        Coarse glow of each patch.
    """
    total = np.zeros((3, *grid.shape))
    for glow, patch in zip(light, patches, strict=True):
        shorter = np.sqrt(_shoelace(patch.place.corners))
        sides = np.linalg.norm(
            np.roll(patch.place.corners, -1, axis=0) - patch.place.corners, axis=1
        )
        height = REACH * min(shorter, float(sides.min()))
        total += SPILT * spread_out(glow, spill_kernel(grid, max(height, 1.0)))
    return total


def stretched(field: Plane, grid: Grid, columns: slice = slice(None)) -> Plane:
    """Spread the columns of a coarse plane out to pixels, linearly.

    Parameters
    ----------
    field : ndarray of float32, shape (rows, columns)
    grid : Grid
    columns : slice
        Coarse columns that are wanted.

    Returns
    -------
    ndarray of float32, shape (rows, n_pixels)
    """
    step, (_, across) = grid.step, grid.shape
    first, last, _ = columns.indices(across)
    edge = field[:, np.clip(np.arange(first - 1, last + 1), 0, across - 1)]
    # segments run from sample centre to sample centre, half a step off the pixels
    share = ((np.arange(step) + (0.5 if step % 2 == 0 else 1.0)) / step).astype("f4")
    between = edge[:, :-1, None] + np.diff(edge, axis=1)[..., None] * share
    flat = between.reshape(len(edge), -1)
    pixels = min(last * step, grid.width) - first * step
    start = step // 2
    return np.ascontiguousarray(flat[:, start : start + pixels], dtype=np.float32)


def finer(rows: Plane, grid: Grid, top: int, bottom: int) -> Plane:
    """Spread the rows of a stretched plane out to pixels, linearly.

    Parameters
    ----------
    rows : ndarray of float32, shape (rows, n_pixels)
        From `stretched`.
    grid : Grid
    top, bottom : int
        Rows of pixels that are wanted.

    Returns
    -------
    ndarray of float32, shape (bottom - top, n_pixels)
    """
    last = len(rows) - 1
    at = np.clip((np.arange(top, bottom) + 0.5) / grid.step - 0.5, 0, last)
    first, end = int(at[0]), min(int(at[-1]) + 1, last)
    weights = 1 - np.abs(at[:, None] - np.arange(first, end + 1))
    return np.asarray(np.maximum(weights, 0).astype("f4") @ rows[first : end + 1])
