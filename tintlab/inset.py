"""The inset file: what the maker wrote down, read and checked.

An inset is lights, an optional box behind, and layers from the light to the viewer.
Neighbouring layers touch (poured, glued or wetted) unless a gap stands between them.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import colorimetry, document, units
from tintlab.colourants import Bottle, Colourant, Dye, Ink, dyes_of
from tintlab.document import Section
from tintlab.errors import InsetError, ShelfError, TintlabError
from tintlab.materials import (
    Diffuser,
    Emitter,
    Material,
    Medium,
    Region,
    Room,
    Wall,
    emitter_power,
)
from tintlab.shelf import Shelf

Array = NDArray[np.float64]

CURES = ("amine", "peroxide", "isocyanate", "addition", "light")
DEFAULT_TOLERANCE = 5.0  # CIEDE2000
MOST_COATS = 20
MOST = 1e6  # mm, g, min or mA of anything; more, or less than 1 / MOST, is a slip


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
    junction : float or None
        Junction temperature. [C]
    coats : tuple of Coats
        On each LED.
    """

    emitter: Emitter
    count: int
    lumens: float
    assumed: bool
    beam: float
    pitch: float | None
    junction: float | None
    coats: tuple[Coats, ...]


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
        [mm]
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
    """A whole inset file."""

    name: str
    path: Path
    size: tuple[float, float] | None
    lights: tuple[Light, ...]
    layers: tuple[Layer, ...]
    room: Room
    cavity: Cavity | None = None
    target: Target | None = None
    distance: float | None = None
    round: bool = False
    seen: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def read_inset(path: Path, shelf: Shelf) -> Inset:
    """Read an inset file.

    Parameters
    ----------
    path : Path
    shelf : Shelf
        Where the materials that it names are found.

    Returns
    -------
    Inset

    Raises
    ------
    InsetError
        With file and line, for everything that is missing, unknown or impossible.
    """
    top = document.read(path, error=InsetError)
    notes: list[str] = []
    name = top.text("name")
    size, is_round = _outline(top)
    lights = tuple(_light(s, shelf, notes) for s in top.sections("light"))
    if not lights:
        top.missing("light", "there is no [[light]]")
    cavity = _cavity(top.section("cavity"), shelf)
    layers = tuple(read_layer(s, shelf) for s in top.sections("layer"))
    target = _target(top.section("target"), shelf, path, notes)
    view = top.section("view")
    room, distance = shelf.find("rooms", "dark house"), None
    if view is not None:
        room = _find(view, "room", shelf, "rooms", "dark house")
        distance = _quantity(view, "distance", units.LENGTHS, "2 m", None)
        view.close()
    for material in _materials(lights, cavity, layers):
        notes += [f"{material.name}: {note}" for note in material.notes]
    seen = top.take("seen", dict, {})
    top.take("notes", str, "")
    top.close()
    return Inset(
        name=name,
        path=path,
        size=size,
        round=is_round,
        lights=lights,
        cavity=cavity,
        layers=layers,
        target=target,
        room=room,
        distance=distance,
        seen=seen,
        notes=tuple(notes),
    )


def _materials(
    lights: tuple[Light, ...], cavity: Cavity | None, layers: tuple[Layer, ...]
) -> list[Material]:
    """Every material that an inset names."""
    found: list[Material] = [light.emitter for light in lights]
    coats = [c for light in lights for c in light.coats]
    found += [cavity.wall] if cavity else []
    for layer in layers:
        coats += layer.coats
        found += [m for m in (layer.medium, layer.diffuser) if m is not None]
        found += [dosed.colourant for dosed in layer.dosed]
        found += [bathed.colourant for bathed in layer.bathed]
    found += [c.ink for c in coats]
    whole = {id(m): m for one in found for m in (one, *_inside(one))}
    return list(whole.values())


def _inside(material: Material) -> tuple[Material, ...]:
    return dyes_of(material) if isinstance(material, Colourant) else ()


def _parse(section: Section, key: str, reader: Callable[[str], Any], text: str) -> Any:
    try:
        return reader(text)
    except TintlabError as problem:
        section.fail(key, f"{key}: {problem}")


def _quantity(
    section: Section,
    key: str,
    known: dict[str, float],
    example: str,
    default: Any = ...,
    *,
    positive: bool = True,
) -> Any:
    """Read a quantity with its unit; a bare number is an error that says so."""
    if default is not ... and key not in section.table:
        section.known.append(key)
        return default
    if section.has(key) and document.finite(section.table[key]) is not None:
        section.fail(
            key,
            f"{key} = {section.table[key]} has no unit; write it in quotes with a "
            f'unit, as in {key} = "{example}"',
        )
    text = section.text(key)
    value = _parse(
        section, key, lambda t: units.quantity(t, known, example=example), text
    )
    if positive and value <= 0:
        section.fail(key, f'{key} = "{text}" must be more than zero')
    _check_sane(section, key, text, value)
    return value


def _check_sane(section: Section, key: str, text: str, value: float) -> None:
    if abs(value) > MOST or 0 < abs(value) < 1 / MOST:
        section.fail(key, f'{key} = "{text}" cannot be meant; check number and unit')


def _find(
    section: Section,
    key: str,
    shelf: Shelf,
    kind: str,
    default: Any = ...,
) -> Any:
    name = section.text(key) if default is ... else section.text(key, default)
    try:
        return shelf.find(kind, name)
    except ShelfError as problem:
        section.fail(key, str(problem))


def _outline(top: Section) -> tuple[tuple[float, float] | None, bool]:
    section = top.section("inset")
    if section is None:
        return None, False
    size, is_round = None, False
    way = section.one_of("size", "diameter", "outline")
    if way == "size":
        text = section.text("size")
        size = _parse(section, "size", units.size, text)
        if min(size) <= 0:
            section.fail("size", f'size = "{text}": both sides are more than zero')
        for side in size:
            _check_sane(section, "size", text, side)
    elif way == "diameter":
        across = _quantity(section, "diameter", units.LENGTHS, "30 mm")
        side = across * np.sqrt(np.pi) / 2  # square of equal area
        size, is_round = (side, side), True
    elif way == "outline":
        size = _polygon_box(section)
    section.close()
    return size, is_round


def _polygon_box(section: Section) -> tuple[float, float]:
    """Read a polygon in mm and return a rectangle of its proportions and area."""
    written = section.take("outline", list)
    corners = [
        [document.finite(value) for value in corner] if isinstance(corner, list) else []
        for corner in written
    ]
    if len(corners) < 3 or any(len(c) != 2 or None in c for c in corners):
        section.fail(
            "outline",
            "outline takes three corners in mm or more: [[0, 0], [40, 0], [40, 60]]",
        )
    x, y = np.array(corners, dtype=float).T
    if max(np.abs(x).max(), np.abs(y).max()) > MOST:
        section.fail("outline", "this outline is more than a kilometre wide; use mm")
    area = abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2
    if area < 1 / MOST:
        section.fail("outline", "this outline encloses no area; check its corners")
    stretch = np.sqrt(area / (np.ptp(x) * np.ptp(y)))
    return float(np.ptp(x) * stretch), float(np.ptp(y) * stretch)


def _coats(section: Section, shelf: Shelf, key: str = "coats") -> tuple[Coats, ...]:
    found = []
    for part in section.sections(key):
        ink = _find(part, "ink", shelf, "inks")
        count = part.whole("coats", 1, low=0, high=MOST_COATS)
        part.close()
        found.append(Coats(ink=ink, count=count))
    return tuple(found)


def _light(section: Section, shelf: Shelf, notes: list[str]) -> Light:
    emitter: Emitter = _find(section, "emitter", shelf, "emitters")
    count = section.whole("count", 1, low=1, high=100_000)
    beam = _quantity(section, "beam", units.ANGLES, "120 deg", emitter.beam)
    if not 1 <= beam < 180:
        section.fail("beam", f"a beam of {beam:g} deg; give 1 to 179 deg")
    current = _quantity(section, "current", units.CURRENTS, "20 mA", None)
    _quantity(section, "at", units.CURRENTS, "20 mA", None)
    way, assumed = section.one_of("lumens", "mcd"), False
    if way == "lumens":
        lumens = section.number("lumens", low=0, high=MOST)
    elif way == "mcd":
        # intensity I cos^k: flux = 2 pi I / (k + 1)
        exponent = np.log(0.5) / np.log(np.cos(np.radians(beam / 2)))
        lumens = (
            section.number("mcd", low=0, high=1e9) / 1000 * 2 * np.pi / (exponent + 1)
        )
    else:
        milliamps = 20.0 if current is None else current
        watts = emitter.forward_voltage * milliamps / 1000
        lumens = (emitter.efficacy or 50.0) * watts
        assumed = True
        notes.append(
            f'the light of "{emitter.name}" is assumed: {lumens:.2g} lm at '
            f"{milliamps:g} mA; write lumens or mcd from its data sheet"
        )
    if lumens <= 0:
        section.fail(way or "emitter", "this LED gives no light; write its lumens")
    junction = _junction(section)
    if not emitter_power(emitter, junction=junction).max() > 0:
        section.fail("junction", f"at {junction:g} C this LED gives no light any more")
    light = Light(
        emitter=emitter,
        count=count,
        lumens=float(lumens),
        assumed=assumed,
        beam=beam,
        pitch=_quantity(section, "pitch", units.LENGTHS, "15 mm", None),
        junction=junction,
        coats=_coats(section, shelf),
    )
    section.close()
    return light


def _junction(section: Section) -> float | None:
    junction: float | None = _quantity(
        section, "junction", units.TEMPERATURES, "50 C", None, positive=False
    )
    if junction is not None and not -60 <= junction <= 200:
        section.fail("junction", f"a junction of {junction:g} C; give -60 to 200 C")
    return junction


def _cavity(section: Section | None, shelf: Shelf) -> Cavity | None:
    if section is None:
        return None
    cavity = Cavity(
        depth=_quantity(section, "depth", units.LENGTHS, "25 mm"),
        wall=_find(section, "wall", shelf, "walls"),
    )
    section.close()
    return cavity


def read_layer(section: Section, shelf: Shelf) -> Layer:
    """Read one [[layer]]; `chips` reads its test pieces by it as well."""
    kind = section.choice("kind", ("cast", "sheet", "film", "diffuser", "gap"))
    layer = _LAYERS[kind](section, shelf)
    section.close()
    return layer


def _face(section: Section, key: str) -> str:
    return section.choice(key, ("polished", "frosted"), "polished")


def _cast(section: Section, shelf: Shelf) -> Layer:
    medium: Medium = _find(section, "medium", shelf, "media")
    share_a = 1.0
    if section.has("mix"):  # by volume: parts A and B are taken as equally dense
        share_a, _ = _parse(section, "mix", units.mix, section.text("mix"))
    volumes = {unit: mL * medium.density for unit, mL in units.VOLUMES.items()}
    batch = _quantity(section, "batch", {**units.MASSES, **volumes}, "50 g", None)
    return Layer(
        kind="cast",
        medium=medium,
        thickness=_quantity(section, "thickness", units.LENGTHS, "9 mm"),
        batch=batch,
        share_a=share_a,
        cure=section.choice("cure", CURES, ""),
        dosed=_doses(section, shelf, batch=batch, share_a=share_a),
        finish=_face(section, "finish"),
        back=_face(section, "back"),
    )


def _colourant(part: Section, shelf: Shelf) -> Bottle | Dye:
    if part.one_of("bottle", "dye", required=True) == "bottle":
        return _find(part, "bottle", shelf, "bottles")
    return _find(part, "dye", shelf, "dyes")


def _doses(
    section: Section, shelf: Shelf, *, batch: float | None, share_a: float
) -> tuple[Dosed, ...]:
    """Resolve every dose to grams and to grams per kilogram of the whole body."""
    measured = []
    for part in section.sections("dyes"):
        colourant = _colourant(part, shelf)
        dose: units.Dose = _parse(part, "dose", units.dose, part.text("dose"))
        part.close()
        if dose.unit == "drops" and isinstance(colourant, Dye):
            part.fail("dose", "a dye by itself is dosed by mass; drops need a bottle")
        if dose.unit in ("drops", "g") and batch is None:
            section.fail("batch", 'a dose in drops or grams needs batch = "50 g"')
        mass = batch or 1000.0
        scale = {
            "drops": getattr(colourant, "drop", 0.0),
            "g": 1.0,
            "%": mass,
            "phr": mass * share_a,
        }[dose.unit]
        grams = dose.amount * scale
        if grams > 10 * mass:
            part.fail("dose", f"{dose} is more than ten batches; check the unit")
        measured.append((colourant, dose, grams))
    # a let-down's part A replaces part A of the batch, so only neat dye adds to it
    neat = [grams * dose.let_down for _, dose, grams in measured]
    body = (batch or 1000.0) + sum(neat)
    return tuple(
        Dosed(colourant=colourant, dose=dose, grams=own, per_kg=own / body * 1000)
        for (colourant, dose, _), own in zip(measured, neat, strict=True)
    )


def _sheet(section: Section, shelf: Shelf) -> Layer:
    medium = _find(section, "medium", shelf, "media")
    bathed = []
    for part in section.sections("dyes"):
        bottle: Bottle = _find(part, "bottle", shelf, "bottles")
        faces = part.take("faces", int, 2)
        if faces not in (1, 2):
            part.fail("faces", "faces = 2, or 1 with a masked back")
        bathed.append(
            Bathed(
                colourant=bottle,
                minutes=_quantity(part, "time", units.TIMES, "20 min", positive=False),
                faces=faces,
                rate=part.number("rate", bottle.bath_rate, low=0, high=100),
                saturation=part.number(
                    "saturation", bottle.bath_saturation, low=0.01, high=1000
                ),
            )
        )
        if bathed[-1].minutes < 0:
            part.fail("time", "the time in the bath is zero or more")
        part.close()
    return Layer(
        kind="sheet",
        medium=medium,
        thickness=_quantity(section, "thickness", units.LENGTHS, "3 mm"),
        bathed=tuple(bathed),
        finish=_face(section, "finish"),
        back=_face(section, "back"),
    )


def _film(section: Section, shelf: Shelf) -> Layer:
    coats = _coats(section, shelf)
    carrier = None
    if section.has("carrier"):
        carrier = _find(section, "carrier", shelf, "media")
    thickness = _quantity(section, "thickness", units.LENGTHS, "0.1 mm", 0.1)
    return Layer(kind="film", medium=carrier, thickness=thickness, coats=coats)


def _diffuser(section: Section, shelf: Shelf) -> Layer:
    diffuser: Diffuser = _find(section, "diffuser", shelf, "diffusers")
    thickness = _quantity(
        section, "thickness", units.LENGTHS, "2 mm", diffuser.thickness
    )
    return Layer(kind="diffuser", diffuser=diffuser, thickness=thickness)


def _gap(section: Section, _: Shelf) -> Layer:
    return Layer(
        kind="gap",
        thickness=_quantity(section, "thickness", units.LENGTHS, "1 mm", 0.0),
    )


_LAYERS: dict[str, Callable[[Section, Shelf], Layer]] = {
    "cast": _cast,
    "sheet": _sheet,
    "film": _film,
    "diffuser": _diffuser,
    "gap": _gap,
}


def _target(
    section: Section | None, shelf: Shelf, path: Path, notes: list[str]
) -> Target | None:
    if section is None:
        return None
    way = section.one_of("lab", "hex", "picture", "region", required=True)
    Lab, region, clipped = None, None, 0.0
    face, face_Lab, weight = section.section("face"), None, 0.0
    if face is not None:
        face_Lab, weight = _lab(face, "lab"), face.number("weight", 0.5, low=0, high=1)
        face.close()
    if way == "lab":
        Lab = _lab(section, "lab")
    elif way == "hex":
        Lab = colorimetry.XYZ_to_Lab(
            _parse(section, "hex", colorimetry.hex_to_XYZ, section.text("hex"))
        )
    elif way == "region":
        region = _find(section, "region", shelf, "targets")
    else:
        Lab, clipped = _picture_point(section, path, notes)
    target = Target(
        Lab=Lab,
        region=region,
        tolerance=section.number("tolerance", DEFAULT_TOLERANCE, low=0, high=100),
        min_light_kept=section.number("min_light_kept", 0.0, low=0, high=1),
        lightness=section.choice("lightness", ("free", "match"), "free"),
        clipped=clipped,
        face_Lab=face_Lab,
        face_weight=weight,
    )
    section.close()
    return target


def _lab(section: Section, key: str) -> Array:
    numbers = section.numbers(key, 3)
    if not 0 <= numbers[0] <= 100 or max(abs(numbers[1]), abs(numbers[2])) > 200:
        section.fail(key, f"{key} = {numbers}; L* is 0 to 100, a* and b* within 200")
    return np.array(numbers, dtype=float)


def _picture_point(
    section: Section, path: Path, notes: list[str]
) -> tuple[Array, float]:
    from tintlab import picture  # noqa: PLC0415  Pillow, for this only

    part = section.section("picture")
    if part is None:
        section.fail("picture", 'picture = {file = "...", at = [x, y]}')
    file, at = path.parent / part.text("file"), part.numbers("at", 2)
    radius = part.number("radius", 3.0, low=0, high=2000)
    part.close()
    try:
        patch = picture.patch(file, at=(at[0], at[1]), radius=radius)
    except InsetError as problem:
        message = str(problem)
        part.fail("at" if message.startswith("the point") else "file", message)
    if patch.clipped > 0.05:
        notes.append(
            f"{patch.clipped * 100:.0f} % of the target patch is clipped in the "
            "picture; its colour is not to be trusted, choose a darker spot"
        )
    return colorimetry.XYZ_to_Lab(patch.XYZ), patch.clipped
