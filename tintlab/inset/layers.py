"""The layers between the light and the viewer."""

from collections.abc import Callable

from tintlab import units
from tintlab.colourants import Bottle, Dye
from tintlab.document import Section
from tintlab.inset.fields import find, parse, quantity
from tintlab.inset.lights import read_coats
from tintlab.inset.records import Bathed, Dosed, Layer
from tintlab.inset.relief import read_thickness
from tintlab.shelf import Shelf

CURES = ("amine", "peroxide", "isocyanate", "addition", "light")


def read_layer(section: Section, shelf: Shelf) -> Layer:
    """Read one [[layer]]; `chips` reads its test pieces by it as well."""
    kind = section.choice("kind", ("cast", "sheet", "film", "diffuser", "gap"))
    layer = _LAYERS[kind](section, shelf)
    section.close()
    return layer


def _face(section: Section, key: str) -> str:
    return section.choice(key, ("polished", "frosted"), "polished")


def _cast(section: Section, shelf: Shelf) -> Layer:
    medium = find(section, "medium", shelf, "media")
    share_a = 1.0
    if section.has("mix"):  # by volume: parts A and B are taken as equally dense
        share_a, _ = parse(section, "mix", units.mix, section.text("mix"))
    volumes = {unit: mL * medium.density for unit, mL in units.VOLUMES.items()}
    batch = quantity(section, "batch", {**units.MASSES, **volumes}, "50 g", None)
    return Layer(
        kind="cast",
        medium=medium,
        **read_thickness(section, "9 mm"),
        batch=batch,
        share_a=share_a,
        cure=section.choice("cure", CURES, ""),
        dosed=_doses(section, shelf, batch=batch, share_a=share_a),
        finish=_face(section, "finish"),
        back=_face(section, "back"),
    )


def _colourant(part: Section, shelf: Shelf) -> Bottle | Dye:
    if part.one_of("bottle", "dye", required=True) == "bottle":
        return find(part, "bottle", shelf, "bottles")
    return find(part, "dye", shelf, "dyes")


def _doses(
    section: Section, shelf: Shelf, *, batch: float | None, share_a: float
) -> tuple[Dosed, ...]:
    """Resolve every dose to grams and to grams per kilogram of the whole body."""
    measured = []
    for part in section.sections("dyes"):
        colourant = _colourant(part, shelf)
        dose = parse(part, "dose", units.dose, part.text("dose"))
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
    medium = find(section, "medium", shelf, "media")
    bathed = []
    if section.has("dyes") and medium.bath_limit == 0:
        section.fail(
            "dyes", f"{medium.name} takes no dye from a bath; use films or ink"
        )
    for part in section.sections("dyes"):
        bottle = find(part, "bottle", shelf, "bottles")
        faces = part.take("faces", int, 2)
        if faces not in (1, 2):
            part.fail("faces", "faces = 2, or 1 with a masked back")
        bathed.append(
            Bathed(
                colourant=bottle,
                minutes=quantity(part, "time", units.TIMES, "20 min", positive=False),
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
        **read_thickness(section, "3 mm"),
        bathed=tuple(bathed),
        finish=_face(section, "finish"),
        back=_face(section, "back"),
    )


def _film(section: Section, shelf: Shelf) -> Layer:
    coats = read_coats(section, shelf)
    carrier = None
    if section.has("carrier"):
        carrier = find(section, "carrier", shelf, "media")
    thickness = quantity(section, "thickness", units.LENGTHS, "0.1 mm", 0.1)
    return Layer(kind="film", medium=carrier, thickness=thickness, coats=coats)


def _diffuser(section: Section, shelf: Shelf) -> Layer:
    diffuser = find(section, "diffuser", shelf, "diffusers")
    thickness = quantity(
        section, "thickness", units.LENGTHS, "2 mm", diffuser.thickness
    )
    return Layer(kind="diffuser", diffuser=diffuser, thickness=thickness)


def _gap(section: Section, _: Shelf) -> Layer:
    return Layer(
        kind="gap",
        thickness=quantity(section, "thickness", units.LENGTHS, "1 mm", 0.0),
    )


_LAYERS: dict[str, Callable[[Section, Shelf], Layer]] = {
    "cast": _cast,
    "sheet": _sheet,
    "film": _film,
    "diffuser": _diffuser,
    "gap": _gap,
}
