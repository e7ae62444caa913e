"""LEDs, their coats, and the box behind."""

import numpy as np

from tintlab import units
from tintlab.document import Section
from tintlab.inset.fields import MOST, find, quantity
from tintlab.inset.outline import points
from tintlab.inset.records import DEFAULT_PACKAGE, Cavity, Coats, Light, Outline
from tintlab.inset.shapes import contains
from tintlab.materials import emitter_power
from tintlab.shelf import Shelf

MOST_COATS = 20
MOST_LEDS = 100_000


def read_coats(section: Section, shelf: Shelf, key: str = "coats") -> tuple[Coats, ...]:
    """Read coats of ink."""
    found = []
    for part in section.sections(key):
        ink = find(part, "ink", shelf, "inks")
        count = part.whole("coats", 1, low=0, high=MOST_COATS)
        part.close()
        found.append(Coats(ink=ink, count=count))
    return tuple(found)


def read_light(
    section: Section, shelf: Shelf, outline: Outline | None, notes: list[str]
) -> Light:
    """Read one [[light]]."""
    emitter = find(section, "emitter", shelf, "emitters")
    count = section.whole("count", 1, low=1, high=MOST_LEDS)
    positions = _positions(section, outline)
    if positions:
        _check_count(section, count, len(positions))
        count = len(positions)
    beam = quantity(section, "beam", units.ANGLES, "120 deg", emitter.beam)
    if not 1 <= beam < 180:
        section.fail("beam", f"a beam of {beam:g} deg; give 1 to 179 deg")
    current = quantity(section, "current", units.CURRENTS, "20 mA", None)
    at = quantity(section, "at", units.CURRENTS, "20 mA", current)
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
        pitch=quantity(section, "pitch", units.LENGTHS, "15 mm", None),
        junction=junction,
        coats=read_coats(section, shelf),
        positions=positions,
        package=quantity(section, "package", units.LENGTHS, "5 mm", DEFAULT_PACKAGE),
        at=at,
    )
    section.close()
    return light


def _positions(
    section: Section, outline: Outline | None
) -> tuple[tuple[float, float], ...]:
    """Read where the LEDs sit, and see that they sit in the box."""
    if not section.has("positions"):
        return ()
    section.one_of("pitch", "positions")
    places = points(section.take("positions", list))
    if places is None:
        section.fail(
            "positions",
            "positions takes pairs of mm from the middle of the inset, x to the right "
            "and y down: [[-10, 0], [10, 0]]",
        )
    if outline is None:
        section.fail(
            "positions", 'positions need the size, [inset] size = "40 x 60 mm"'
        )
    for (x, y), inside in zip(places, contains(outline.corners, places), strict=True):
        if not inside:
            width, height = outline.size
            section.fail(
                "positions",
                f"an LED at [{x:g}, {y:g}] lies outside the {width:g} x {height:g} mm "
                "box, whose middle is [0, 0]; measure from the middle",
            )
    return tuple((float(x), float(y)) for x, y in places)


def _check_count(section: Section, count: int, placed: int) -> None:
    if "count" in section.table and count != placed:
        section.fail(
            "count",
            f"count = {count}, but positions has {placed} places; leave count out",
        )


def _junction(section: Section) -> float | None:
    junction: float | None = quantity(
        section, "junction", units.TEMPERATURES, "50 C", None, positive=False
    )
    if junction is not None and not -60 <= junction <= 200:
        section.fail("junction", f"a junction of {junction:g} C; give -60 to 200 C")
    return junction


def read_cavity(section: Section | None, shelf: Shelf) -> Cavity | None:
    """Read [cavity]."""
    if section is None:
        return None
    cavity = Cavity(
        depth=quantity(section, "depth", units.LENGTHS, "25 mm"),
        wall=find(section, "wall", shelf, "walls"),
    )
    section.close()
    return cavity
