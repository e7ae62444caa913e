"""The usual cautions for what an inset is made of.

They are common practice, no substitute for the safety sheets of your materials, for
local codes or for licensed practice, and every text says so once at the end.
"""

from tintlab.colourants import Colourant, Dye, dyes_of
from tintlab.inset import Inset
from tintlab.materials import Material

RESIN = (
    "uncured resin and hardener can sensitise skin for life: nitrile gloves, air, no "
    "skin contact; a thick pour heats up and can smoke"
)
ISOCYANATE = "isocyanates harm the lungs: extraction, and never warm or spray them"
PEROXIDE = "peroxide hardener and styrene: no flame, air, never mix peroxide and cobalt"
_CURES = {"isocyanate": ISOCYANATE, "peroxide": PEROXIDE}
SOLVENT = "alcohol inks burn easily: no flame or hot plate nearby, fresh air"
BATH = (
    "a hot dye bath scalds and its steam carries dye: cover, gloves, air, and never "
    "food in that pot again"
)
BATTERY = (
    "batteries: a resistor or driver for every LED string, no cells cast in resin, "
    "button cells behind a screwed cover, away from children"
)
BRIGHT = (
    "this face is bright: do not look into it from near, and do not let it flash at "
    "3 to 30 a second"
)
BRIGHT_FROM = 10_000.0  # [cd/m2] a face that dazzles indoors; common practice
LAST = "read the safety sheets of your materials; local codes come first"


def cautions(inset: Inset, luminance: float | None) -> list[str]:
    """Return the cautions that belong to an inset.

    Parameters
    ----------
    inset : Inset
    luminance : float or None
        Of the face, lit. [cd/m2]
    """
    found = [BATTERY]
    materials: list[Material] = [light.emitter for light in inset.lights]
    coats = [coats for light in inset.lights for coats in light.coats]
    for layer in inset.layers:
        found += [RESIN] if layer.kind == "cast" else []
        found += [_CURES[layer.cure]] if layer.cure in _CURES else []
        found += [BATH] if layer.bathed else []
        coats += layer.coats
        materials += [layer.medium] if layer.medium is not None else []
        tinted = [dosed.colourant for dosed in layer.dosed]
        tinted += [bathed.colourant for bathed in layer.bathed]
        for colourant in tinted:
            materials += _with_dyes(colourant)
    found += [SOLVENT] if coats else []
    for one in coats:
        materials += _with_dyes(one.ink)
    found += [f"{one.name}: {one.caution}" for one in materials if one.caution]
    if luminance is not None and luminance > BRIGHT_FROM:
        found.append(BRIGHT)
    return [*dict.fromkeys(" ".join(text.split()) for text in found), LAST]


def _with_dyes(colourant: Colourant | Dye) -> list[Material]:
    return [colourant, *dyes_of(colourant)]
