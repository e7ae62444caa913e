"""A lit inset in its rooms: lit and unlit, as an eye that is used to each room sees it.

The scene is drawn: a grey prop face on a dark backdrop, the inset in its middle, a
white card below. The room lights all of it evenly and diffusely. Each picture keeps
absolute light up to the display: the eye's stray light is added, the eye is adapted to
the room's white, and the room's white card becomes as bright on the display as it
looks in the room. The unlit face is taken as even, and no light from the inset falls
on the prop.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import spectrum_to_XYZ, tables
from tintlab.errors import ModelError
from tintlab.inset import Inset
from tintlab.materials import Room
from tintlab.proof import eye, glare
from tintlab.proof.face import FaceMap, face_map, xyz_responses
from tintlab.proof.veil import LeastLight, RoomLight, least_light, room_light
from tintlab.shelf import Shelf
from tintlab.verdict import Prediction, predict

Array = NDArray[np.float64]

ROOMS: Final = ("dark house", "stage wash", "hall", "shade", "sun")
DISTANCE = 2000.0  # [mm] when the file gives none
PROP, BACKDROP, CARD = 0.18, 0.05, 0.9  # luminance factors: mid grey, dark cloth, white
HEIGHT = 200  # [pixels] of a picture
SHAPE = 0.66  # width of a picture over its height
FILLED = 0.5  # of the picture's width or height that the inset takes up at most
BODY = 0.94  # likewise the prop
OVERSAMPLED = 2  # pixels each way that make one of the picture


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomView:
    """One room of a strip.

    Attributes
    ----------
    prediction : Prediction
        With the verdict in this room.
    light : RoomLight
        What comes from the face. [cd/m2]
    least : LeastLight
        With which the piece still reads.
    least_range : tuple of float
        5 and 95 % points of its level, from the spread of the luminance. [-]
    drowned : float
        Angle from the middle of the lit inset within which its stray light in the eye
        outshines a white card in this room. [deg]
    lit, unlit : ndarray, shape (height, width, 3)
        Pictures, coded sRGB, 0 to 1.
    """

    prediction: Prediction
    light: RoomLight
    least: LeastLight
    least_range: tuple[float, float]
    drowned: float
    lit: Array
    unlit: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """An inset in its rooms.

    Attributes
    ----------
    inset : Inset
    views : tuple of RoomView
    distance : float
        Of the viewer. [mm]
    assumed : bool
        Whether the distance was assumed.
    degrees : tuple of float
        Width and height of the inset for the viewer. [deg]
    age, pigment : float
        Of the viewer, as in `tintlab.proof.glare`. [years], [-]
    """

    inset: Inset
    views: tuple[RoomView, ...]
    distance: float
    assumed: bool
    degrees: tuple[float, float]
    age: float
    pigment: float


def five_rooms(inset: Inset, shelf: Shelf) -> list[Room]:
    """Choose five rooms, darkest first; the inset's own replaces the nearest."""
    rooms = [shelf.find("rooms", name) for name in ROOMS]
    own = inset.room
    if own.name not in [room.name for room in rooms]:
        away = [abs(np.log(_level(room) / _level(own))) for room in rooms]
        rooms[int(np.argmin(away))] = own
    return sorted(rooms, key=lambda room: room.illuminance)


def _level(room: Room) -> float:
    return max(room.illuminance, 1e-3)


def room_strip(
    inset: Inset,
    rooms: Sequence[Room],
    *,
    distance: float | None = None,
    age: float = 30.0,
    pigment: float = 0.5,
    height: int = HEIGHT,
    progress: Callable[[str], None] | None = None,
) -> Strip:
    """Predict and draw an inset in rooms.

    Parameters
    ----------
    inset : Inset
        With a size.
    rooms : sequence of Room
    distance : float, optional
        Of the viewer; that of the file, or 2 m. [mm]
    age, pigment : float
        Of the viewer, as in `tintlab.proof.glare`. [years], [-]
    height : int
        Of the pictures. [pixels]
    progress : callable, optional
        Told the name of each room.

    Returns
    -------
    Strip

    Raises
    ------
    ModelError
        Without a size, or from a distance at which the inset is no more than a point.
    """
    tell = progress or (lambda _: None)
    tell("glow over the face")
    found = face_map(inset, responses=xyz_responses())
    width, tall = inset.size  # type: ignore[misc]  # face_map refuses to be without
    away = distance or inset.distance or DISTANCE
    span = _span((width, tall))
    pitch = float(np.degrees(np.arctan(span / height / away)))
    if not 0 < pitch * height < 120:
        raise ModelError(
            f"asked for {width:g} x {tall:g} mm seen from {away:g} mm; step back until "
            "the prop fits into a view: give [view] a larger distance"
        )
    scene = _scene(found, span, height)
    viewer = _Viewer(distance=away, pitch=pitch, age=age, pigment=pigment)
    views = []
    for room in rooms:
        tell(room.name)
        views.append(_view(inset, room, scene, viewer))
    return Strip(
        inset=inset,
        views=tuple(views),
        distance=away,
        assumed=not (distance or inset.distance),
        degrees=(_angle(width, away), _angle(tall, away)),
        age=age,
        pigment=pigment,
    )


def _angle(size: float, distance: float) -> float:
    return float(np.degrees(2 * np.arctan(size / 2 / distance)))


def _span(size: tuple[float, float]) -> float:
    """Height of the picture at the inset. [mm]"""
    return max(size[1], size[0] / SHAPE) / FILLED


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scene:
    """The drawn scene, twice as fine as the picture.

    Attributes
    ----------
    factor : ndarray, shape (height, width, 1)
        Luminance factor of what is not inset. [-]
    inside : ndarray, shape (height, width, 1)
        Share of the inset. [-]
    glow : ndarray, shape (height, width, 3)
        XYZ of the lit inset. [cd/m2]
    """

    factor: Array
    inside: Array
    glow: Array


def _scene(found: FaceMap, span: float, height: int) -> _Scene:
    rows, columns = OVERSAMPLED * height, OVERSAMPLED * round(SHAPE * height)
    pixel = span / rows
    y: Array = (np.arange(rows, dtype=float) + 0.5 - rows / 2) * pixel
    x: Array = (np.arange(columns, dtype=float) + 0.5 - columns / 2) * pixel
    down, across = (y - found.y[0]) / found.spacing, (x - found.x[0]) / found.spacing
    last_row, last_column = len(found.y) - 1, len(found.x) - 1
    inside = _between(down, last_row) @ found.inside @ _between(across, last_column).T
    rows_of = _between(np.clip(down, 0, last_row), last_row)
    columns_of = _between(np.clip(across, 0, last_column), last_column)
    glow = np.einsum("im,mnc,jn->ijc", rows_of, found.values, columns_of, optimize=True)
    return _Scene(factor=_prop(x, y, span), inside=inside[..., None], glow=glow)


def _between(places: Array, last: int) -> Array:
    """Weights of linear interpolation, shape (len(places), last + 1); 0 outside."""
    return np.maximum(1 - np.abs(places[:, None] - np.arange(last + 1)), 0)


def _prop(x: Array, y: Array, span: float) -> Array:
    """Draw the prop, its bevelled edge, the backdrop and the white card."""
    half = np.array([SHAPE, 1.0]) * span * BODY / 2
    corner = 0.09 * span
    across = np.abs(x) - (half[0] - corner)
    down = np.abs(y)[:, None] - (half[1] - corner)
    outside = np.hypot(np.maximum(across, 0), np.maximum(down, 0))
    depth = corner - outside - np.minimum(np.maximum(across, down), 0)
    soft = span / 380
    body = np.clip(depth / soft + 0.5, 0, 1)
    rim = np.clip(1 - depth / (0.035 * span), 0, 1) * (-y / half[1])[:, None]
    factor = BACKDROP + body * (PROP * (1 + 0.35 * rim) - BACKDROP)
    beside, below = np.abs(x) < 0.09 * span, np.abs(y - 0.385 * span) < 0.035 * span
    return np.where(below[:, None] & beside, CARD, factor)[..., None]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Viewer:
    """Who looks: distance [mm], angle of a pixel [deg], age [years], pigment [-]."""

    distance: float
    pitch: float
    age: float
    pigment: float

    def bloomed(self, light: Array) -> Array:
        """Add this eye's stray light to a picture."""
        return eye.bloom(
            light,
            degrees_per_pixel=self.pitch,
            age=self.age,
            pigment=self.pigment,
        )


def _view(inset: Inset, room: Room, scene: _Scene, viewer: _Viewer) -> RoomView:
    prediction = predict(inset, room=room)
    light = room_light(inset, prediction.look, prediction.piece)
    least = least_light(inset, prediction.look)
    bright, dim = np.percentile(prediction.spread.luminance_ratio, (95, 5))
    around = scene.factor * light.white
    lit, unlit = (
        _shown(_reduced(around + scene.inside * (XYZ - around)), room, viewer)
        for XYZ in (scene.glow + light.unlit, light.unlit)
    )
    area = prediction.piece.area * 1e6
    return RoomView(
        prediction=prediction,
        light=light,
        least=least,
        least_range=(least.level / bright, least.level / dim),
        drowned=glare.drowned_angle(
            illuminance=float(light.glow[1]) * area / viewer.distance**2,
            luminance=float(light.white[1]),
            age=viewer.age,
            pigment=viewer.pigment,
        ),
        lit=lit,
        unlit=unlit,
    )


def _reduced(fine: Array) -> Array:
    """Average the finer pixels into those of the picture."""
    rows, columns = (n // OVERSAMPLED for n in fine.shape[:2])
    blocks = fine.reshape(rows, OVERSAMPLED, columns, OVERSAMPLED, -1)
    return np.asarray(blocks.mean(axis=(1, 3)))


def _shown(XYZ: Array, room: Room, viewer: _Viewer) -> Array:
    """Bring a scene in cd/m2 to the display, as the adapted eye sees it.

    Stray light is added for what is brighter than the display can be only: of the rest
    it is made by the eye that looks at the display.

    The eye is used to what it sees: L_A is the geometric mean of the luminance in the
    picture, stray light included, at least 0.2 cd/m2. That is about a fifth of the
    white card's, as usual for a room, and more when the inset fills the view with
    light. Its white is the room's, the less so the more of the light is the inset's:
    D is weighted by the cube root of the room's share, as mixed adaptation to a screen
    and a room is (Katoh et al., IS&T/SID 6th Color Imaging Conf. (1998) 22, from
    memory; carried over, assumed).
    """
    of_room = 0.2 * room.illuminance / np.pi
    Y = np.maximum(viewer.bloomed(XYZ[..., 1:2]), 1e-9)
    level = max(float(np.exp(np.log(Y).mean())), of_room, eye.LEAST_ADAPTING)
    white = 5 * level / eye.display_share(level, surround=room.surround)
    seen = eye.adapt(
        eye.real(XYZ),
        white_from=spectrum_to_XYZ(room.power),
        white_to=tables().white,
        degree=eye.degree_of_adaptation(level, surround=room.surround)
        * (of_room / level) ** (1 / 3),
    )
    most = (seen @ tables().XYZ_to_rgb.T).max(axis=-1, keepdims=True)
    excess = seen * np.maximum(1 - white / np.maximum(most, 1e-9), 0)
    if excess.any():
        seen = seen - excess + viewer.bloomed(excess)
    brightest = float((seen @ tables().XYZ_to_rgb.T).max() / white)
    return eye.to_display(seen, white_luminance=white, brightest=brightest)
