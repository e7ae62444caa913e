"""The scene of a photo proof: the maker's photo and the light of the inset in it.

The photo is taken as scene-linear light with the room's white at neutral. It has no
units, so they are assumed: the mean of what surrounds the inset reflects 18 % of the
room's light (photographic grey, ISO 12232 and common practice), held within a stop of
a usual exposure. Glow, veil (room light that the face sends back), spill and bloom are
added on that scale, before eye or camera.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.errors import InsetError, ModelError
from tintlab.glow import look
from tintlab.inset import Inset
from tintlab.materials import Room
from tintlab.piece import piece_of
from tintlab.proof import eye, photo_light
from tintlab.proof.camera import Camera, black_body, camera
from tintlab.proof.face import face_map, xyz_responses
from tintlab.proof.photo_file import Picture
from tintlab.proof.photo_light import Grid, Patch, Plane
from tintlab.proof.photo_place import Place

Array = NDArray[np.float64]

GREY = 0.18  # mean reflectance of a scene: ISO 12232, common practice
WITHIN = 2.0  # times a usual exposure that the scale may be off before it is held
GREY_WORLD = 0.5  # of the way that an automatic white balance goes; assumed
EYE_SHARE = 0.4  # of a meter's stops, by which the eye version is dimmed; assumed
GREY_FIELD = 0.2  # luminance factor of the field that the eye adapts to, CIE 248:2022
DISTANCE = 2000.0  # [mm] to the viewer, when the file does not say
SAMPLES = 400  # rows and columns looked at for means
GLOSS = 0.03  # of the photo's white: above this a lighter spot is a mirror image


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wish:
    """What the maker asked for.

    Attributes
    ----------
    room : Room
    lit : bool
        Whether the photo shows the inset lit already.
    exposure : float or None
        Of the phone against the photo's own [stops]; None for automatic.
    balance : str or float
        "room", "auto", or a colour temperature [K].
    """

    room: Room
    lit: bool = False
    exposure: float | None = None
    balance: str | float = "room"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """Everything that both versions are made from, in linear units of the photo.

    Attributes
    ----------
    picture : Picture
    wish : Wish
    unit : float
        Luminance of linear 1 in the photo. [cd/m2]
    white : float
        Linear value of a perfect white in the room. [-]
    held : bool
        Whether the mean of the photo was too far from usual to set the scale.
    patches : tuple of Patch
        Their `glow` holds glow and veil: XYZ, then raw values balanced to the room.
    light : tuple of ndarray, shape (6, rows, columns)
        Coarse light that each inset adds.
    grid : Grid
    peak : ndarray, shape (6,)
        Brightest of the face, in each response.
    camera : Camera
        Set to the room's white.
    set_camera : Camera
        Set to the wished balance.
    exposure : float
        Of the phone against the photo. [stops]
    eye_gain : float
        Of all for the eye on a screen. [-]
    degrees_per_pixel : float
        Of the photo for the viewer, at the inset. [deg]
    glow_mean : float
        Luminance of glow and veil, mean over the face. [cd/m2]
    """

    picture: Picture
    wish: Wish
    unit: float
    white: float
    held: bool
    patches: tuple[Patch, ...]
    light: tuple[Array, ...]
    grid: Grid
    peak: Array
    camera: Camera
    set_camera: Camera
    exposure: float
    eye_gain: float
    degrees_per_pixel: float
    glow_mean: float


def scene(inset: Inset, picture: Picture, places: Sequence[Place], wish: Wish) -> Scene:
    """Set the scene: units, glow in perspective, camera.

    Raises
    ------
    InsetError
        When the inset has no size, or the photo is black around it.
    """
    if inset.size is None:
        raise InsetError(
            f'asked for a photo of "{inset.name}", whose size is not known; write '
            '[inset] with size = "40 x 60 mm" into its file'
        )
    room, space = wish.room, picture.space
    outside, overall = _means(picture, places)
    if outside <= 0:
        raise InsetError(
            f'the photo "{picture.path.name}" is black around the inset, so it says '
            "nothing about the light there; use a photo in which the prop can be seen"
        )
    usual = float(np.clip(outside / GREY, 1 / WITHIN, WITHIN))
    unit = room.illuminance / np.pi / usual
    per_lumen = room.power / (MAXIMUM_EFFICACY * spectrum_to_XYZ(room.power)[1])
    set_up = camera(room.power, to_XYZ=space.to_XYZ)
    raw_white = set_up.sensitivities @ per_lumen
    responses = np.concatenate(
        [xyz_responses(), set_up.sensitivities / raw_white[:, None]]
    )
    piece = piece_of(inset)
    face = face_map(inset, responses=responses / unit, piece=piece)
    veil = look(inset, room=room, piece=piece).face * per_lumen * room.illuminance
    veil = responses @ (veil / np.pi) / unit
    solid = face.inside >= min(0.5, float(face.inside.max()))
    peak = face.values[solid].max(axis=0) + veil
    mean = float(face.values[solid][:, 1].mean() + veil[1]) * unit
    lit = [photo_light.laid(place, face, inset.size) for place in places]
    grid = photo_light.grid_over(*picture.codes.shape[:2])
    patches, light = [], []
    for patch in lit:
        old = _region(picture, patch.place)
        glow = patch.glow
        if wish.lit:
            light.append(_added(glow, veil, old, patch, space.to_XYZ, set_up, grid))
            total = glow + veil[:, None, None].astype("f4")
        else:
            light.append(photo_light.coarse(glow, patch, grid))
            gloss = _gloss(old, patch.coverage)
            neutral = np.concatenate([space.to_XYZ.sum(axis=1), np.ones(3)])
            total = glow + veil[:, None, None].astype("f4")
            total += neutral[:, None, None].astype("f4") * gloss
        patches.append(replace(patch, glow=total))
    set_camera = _balanced(wish, set_up, picture, space.to_XYZ, patches)
    metered = -float(np.log2(_lit_mean(light, grid, overall) / overall))
    dimmed = eye.display_share(
        GREY_FIELD * room.illuminance / np.pi, surround=room.surround
    )
    scale = float(np.mean([patch.scale for patch in patches]))
    distance = inset.distance or DISTANCE
    return Scene(
        picture=picture,
        wish=wish,
        unit=unit,
        white=usual,
        held=not 1 / WITHIN <= outside / GREY <= WITHIN,
        patches=tuple(patches),
        light=tuple(light),
        grid=grid,
        peak=peak,
        camera=set_up,
        set_camera=set_camera,
        exposure=metered if wish.exposure is None else wish.exposure,
        eye_gain=dimmed * 2.0 ** (metered * EYE_SHARE),
        degrees_per_pixel=float(np.degrees(1 / scale / distance)),
        glow_mean=mean,
    )


def _means(picture: Picture, places: Sequence[Place]) -> tuple[float, float]:
    """Mean linear luminance outside the insets and over all, from a sample."""
    height, width = picture.codes.shape[:2]
    step = max(1, max(height, width) // SAMPLES)
    light = picture.space.linear(np.ascontiguousarray(picture.codes[::step, ::step]))
    Y = np.tensordot(picture.space.to_XYZ[1], light, axes=1)
    outside = np.ones((height, width), dtype=bool)
    for place in places:
        rows, columns = place.coverage.shape
        part = outside[place.top : place.top + rows, place.left : place.left + columns]
        part &= place.coverage == 0
    outside = outside[::step, ::step]
    return float(Y[outside].mean()) if outside.any() else 0.0, float(Y.mean())


def _region(picture: Picture, place: Place) -> Plane:
    """Linear light of the photo where an inset lies, shape (3, height, width)."""
    height, width = place.coverage.shape
    rows = slice(place.top, place.top + height)
    columns = slice(place.left, place.left + width)
    return picture.space.linear(np.ascontiguousarray(picture.codes[rows, columns]))


def _gloss(old: Plane, coverage: NDArray[np.float32]) -> Plane:
    """Mirror images on an unlit face: what is lighter than it, in all channels."""
    solid = coverage > 0.99
    if not solid.any():
        return np.zeros(old.shape[1:], dtype=np.float32)
    step = max(1, int(np.sqrt(solid.sum() / 40_000)))
    sample = old[:, ::step, ::step][:, solid[::step, ::step]]
    if not sample.size:
        sample = old[:, solid]
    usual = np.median(sample, axis=1)
    above = (old - usual[:, None, None]).min(axis=0) - GLOSS
    return np.maximum(above, 0).astype(np.float32)


def _added(
    glow: Plane,
    veil: Array,
    old: Plane,
    patch: Patch,
    to_XYZ: Array,
    set_up: Camera,
    grid: Grid,
) -> Array:
    """Coarse light beyond what a lit photo shows already (its spill is in it)."""
    shown = np.concatenate(
        [
            np.tensordot(to_XYZ, old, axes=1),
            np.tensordot(np.linalg.inv(set_up.matrix), old, axes=1),
        ]
    )
    more = photo_light.coarse(glow + veil[:, None, None].astype("f4"), patch, grid)
    return np.maximum(more - photo_light.coarse(shown.astype("f4"), patch, grid), 0.0)


def _lit_mean(light: Sequence[Array], grid: Grid, overall: float) -> float:
    """Mean luminance of the frame with the insets lit, as a meter sees it."""
    more = sum(float(one[1].sum()) for one in light)
    return overall + more * grid.step**2 / (grid.height * grid.width)


def _balanced(
    wish: Wish,
    set_up: Camera,
    picture: Picture,
    to_XYZ: Array,
    patches: Sequence[Patch],
) -> Camera:
    """Set the camera to the wished white."""
    if wish.balance == "room":
        return set_up
    if wish.balance != "auto":
        return camera(black_body(float(wish.balance)), to_XYZ=to_XYZ)
    height, width = picture.codes.shape[:2]
    step = max(1, max(height, width) // SAMPLES)
    light = picture.space.linear(np.ascontiguousarray(picture.codes[::step, ::step]))
    raw = np.tensordot(np.linalg.inv(set_up.matrix), light, axes=1)
    frame = np.clip(raw, 0.0, 1.0)
    for patch in patches:
        place, sub = patch.place, patch.coverage[::step, ::step]
        rows = slice(place.top // step, place.top // step + sub.shape[0])
        columns = slice(place.left // step, place.left // step + sub.shape[1])
        part = frame[:, rows, columns]
        sub = sub[: part.shape[1], : part.shape[2]]
        new = np.clip(patch.glow[3:, ::step, ::step], 0, 1)
        new = new[:, : part.shape[1], : part.shape[2]]
        part *= 1 - sub
        part += sub * new
    mean = frame.mean(axis=(1, 2))
    if not (mean > 0).all():
        raise ModelError(
            "asked for an automatic white balance of a frame that lacks a colour; "
            'choose "room" or a colour temperature'
        )
    gains = set_up.gains * (mean.mean() / mean) ** GREY_WORLD
    return replace(set_up, gains=gains / gains.min())
