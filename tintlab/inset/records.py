"""What an inset is made of: frozen records, as read and checked."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import units
from tintlab.colourants import Bottle, Dye, Ink
from tintlab.materials import Diffuser, Emitter, Medium, Region, Room, Wall

Array = NDArray[np.float64]

DEFAULT_TOLERANCE = 5.0  # CIEDE2000
DEFAULT_PACKAGE = 5.0  # mm, assumed: the usual round LED


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """The edge of an inset, and of the box behind.

    Attributes
    ----------
    kind : str
        "rectangle", "circle", "polygon" or "mask".
    size : tuple of float
        Width and height of the whole. [mm]
    corners : ndarray, shape (n, 2)
        Of the box, from the middle of the whole, x to the right and y down; a circle
        is a polygon of many sides. [mm]
    mask : ndarray, shape (rows, columns), or None
        Share of each cell of the whole that is inset, 0 to 1. [-]
    area : float
        That lets light out. [mm2]
    girth : float
        Length of the walls around the box. [mm]
    """

    kind: str
    size: tuple[float, float]
    corners: Array
    mask: Array | None
    area: float
    girth: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coats:
    """An ink and how many coats of it."""

    ink: Ink
    count: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Light:
    """One sort of LED.

    Attributes
    ----------
    emitter : Emitter
    count : int
    lumens : float
        Of each LED. [lm]
    assumed : bool
        True when the maker gave no light output and a typical one stands in.
    beam : float
        Full angle at half intensity. [deg]
    pitch : float or None
        Spacing of the LEDs; evenly over the back when None. [mm]
    positions : tuple of pairs of float
        Where they sit, from the middle of the inset, x to the right and y down as in
        pictures; on a grid when empty. [mm]
    package : float
        Diameter of what glows when one looks at a bare LED. [mm]
    junction : float or None
        Junction temperature. [C]
    coats : tuple of Coats
        On each LED.
    at : float or None
        Current at which it gives its lumens, when the maker said so. [mA]
    """

    emitter: Emitter
    count: int
    lumens: float
    assumed: bool
    beam: float
    pitch: float | None
    junction: float | None
    coats: tuple[Coats, ...]
    at: float | None = None
    positions: tuple[tuple[float, float], ...] = ()
    package: float = DEFAULT_PACKAGE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cavity:
    """The box behind: depth [mm] and wall."""

    depth: float
    wall: Wall


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dosed:
    """A bottle, or a dye by itself, in a batch.

    Attributes
    ----------
    colourant : Bottle or Dye
    dose : units.Dose
    grams : float
        Of bottle liquid or dye in the batch. [g]
    per_kg : float
        The same per body. [g/kg]
    """

    colourant: Bottle | Dye
    dose: units.Dose
    grams: float
    per_kg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bathed:
    """A sheet dyed hot: bottle, time in the bath [min], dyed faces, rate, limit.

    Attributes
    ----------
    rate : float
        Peak absorbance per face and square root of minute. [1/sqrt(min)]
    saturation : float
        Peak absorbance per mm of sheet at saturation. [1/mm]
    """

    colourant: Bottle
    minutes: float
    faces: int
    rate: float
    saturation: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layer:
    """One layer between the light and the viewer.

    Attributes
    ----------
    kind : str
        "cast", "sheet", "film", "diffuser" or "gap".
    medium : Medium or None
        Body, or carrier of a film; None for a gap, a diffuser, or a film that lies
        on its neighbour.
    thickness : float
        The mean, where it varies. [mm]
    thin, thick : float or None
        The least and the most, where the maker gave them. [mm]
    relief : ndarray, shape (rows, columns), or None
        Thickness over the whole of the outline, from the upper left. [mm]
    batch : float or None
        Parts A and B together, without dye. [g]
    share_a : float
        Share of part A in A + B. [-]
    dosed, bathed, coats, diffuser, cure
        What colours or scatters in it.
    finish, back : str
        Face towards the viewer and towards the light: "polished" or "frosted".
    """

    kind: str
    medium: Medium | None = None
    thickness: float = 0.0
    batch: float | None = None
    share_a: float = 1.0
    cure: str = ""
    dosed: tuple[Dosed, ...] = ()
    bathed: tuple[Bathed, ...] = ()
    coats: tuple[Coats, ...] = ()
    diffuser: Diffuser | None = None
    finish: str = "polished"
    back: str = "polished"
    thin: float | None = None
    thick: float | None = None
    relief: Array | None = None

    @property
    def parts_unknown(self) -> bool:
        """Whether the resin has parts A and B whose ratio the maker did not write."""
        two_part = self.medium is not None and bool(self.medium.cures)
        return self.share_a >= 1 and self.cure != "light" and two_part


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Target:
    """What the maker wants to see.

    Attributes
    ----------
    Lab : ndarray, shape (3,), or None
        Relative to D65.
    region : Region or None
    tolerance : float
        CIEDE2000; ignored for a region.
    min_light_kept : float
        [-]
    lightness : str
        "free" or "match".
    clipped : float
        Share of clipped pixels in the picture it was taken from. [-]
    face_Lab : ndarray, shape (3,), or None
        Wanted look of the unlit face, relative to the room's white.
    face_weight : float
        Of the face's difference against the glow's, 0 to 1. [-]
    """

    Lab: Array | None
    region: Region | None
    tolerance: float = DEFAULT_TOLERANCE
    min_light_kept: float = 0.0
    lightness: str = "free"
    clipped: float = 0.0
    face_Lab: Array | None = None
    face_weight: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inset:
    """A whole inset file.

    Attributes
    ----------
    size : tuple of float or None
        Width and height of the outline. [mm]
    outline : Outline or None
        None when the maker gave no size.
    round : bool
        Whether the outline is a circle.
    battery : dict
        As written; `tintlab.power` reads it.
    seen : dict
        As written; the solvers read it.
    pictures : tuple of Path
        Every picture that the file names.
    """

    name: str
    path: Path
    size: tuple[float, float] | None
    lights: tuple[Light, ...]
    layers: tuple[Layer, ...]
    room: Room
    cavity: Cavity | None = None
    target: Target | None = None
    distance: float | None = None
    outline: Outline | None = None
    round: bool = False
    seen: dict[str, Any] = field(default_factory=dict)
    battery: dict[str, Any] = field(default_factory=dict)
    pictures: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()
