"""What the hands do, from the inset file: doses, resin, order of work.

Short sentences for the bench. A step that no inset file can know (how long to stir,
when it has gelled) is left to the sheet of the material.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tintlab.colourants import Bottle
from tintlab.inset import Bathed, Coats, Dosed, Inset, Layer
from tintlab.units import OUNCE

STEPS_LEAST = 5  # scale steps below which nothing is weighed, as in tintlab dose
NO_COAT = "no coat"
LABEL = 28  # characters of a name within a sentence
ONCE = 200  # parts to one above which a let-down is made in two equal steps


def grams(value: float) -> str:
    """Write a mass in grams, to the scale's 0.1 g where it is more: "34.5 g"."""
    return f"{value:.1f} g" if value >= 1 else f"{value:.2g} g"


def ounces(value: float) -> str:
    """Write a mass in ounces: "1.22 oz"."""
    return f"{value / OUNCE:#.3g} oz" if value >= 1 else f"{value / OUNCE:.2g} oz"


def mass(value: float) -> str:
    """Write a mass in grams and ounces."""
    return f"{grams(value)} ({ounces(value)})"


def label(name: str) -> str:
    """Shorten a name in its middle, so that no number beside it is ever lost for it.

    Its end stays, since names that begin alike differ there.
    """
    if len(name) <= LABEL:
        return name
    end = LABEL // 3
    start = name[: LABEL - 1 - end].rstrip()
    return f"{start}\N{HORIZONTAL ELLIPSIS}{name[-end:].lstrip()}"


def name_of(layer: Layer) -> str:
    """Name what a layer is made of."""
    if layer.medium is not None:
        return label(layer.medium.name)
    return "resin" if layer.diffuser is None else label(layer.diffuser.name)


def measured_grams(dosed: Dosed) -> float:
    """Return what is measured out, the part A of a let-down included. [g]"""
    return dosed.grams / dosed.dose.let_down


def let_down_a(layer: Layer) -> float:
    """Part A that comes into the batch with the let-downs. [g]"""
    return sum(measured_grams(dosed) - dosed.grams for dosed in layer.dosed)


def parts(layer: Layer) -> list[tuple[str, float]]:
    """What to weigh of the resin: part A less that of the let-downs, and part B. [g]"""
    if layer.batch is None:
        return []
    if layer.share_a >= 1:
        name = name_of(layer) + (", A + B" if layer.parts_unknown else "")
        return [(name, layer.batch - let_down_a(layer))]
    part_a = layer.batch * layer.share_a
    return [
        ("part A", part_a - let_down_a(layer)),
        ("part B", layer.batch - part_a),
    ]


def named(part: str, layer: Layer, casts: Sequence[Layer]) -> str:
    """Name the resin beside its part where a card holds several castings."""
    alone = len(casts) == 1 or part.startswith(name_of(layer))
    return part if alone else f"{name_of(layer)} {part}"


def base(layer: Layer) -> str:
    """Name what the dye goes into."""
    return "part A" if layer.share_a < 1 else name_of(layer)


def let_down_words(dosed: Dosed, layer: Layer, *, scale: float) -> str:
    """Say how a let-down is weighed on the maker's scale; "" for a neat dose.

    At least `STEPS_LEAST` steps of the scale of the bottle's liquid, and enough for
    the batch.
    """
    if dosed.dose.let_down >= 1:
        return ""
    into, ratio = base(layer), 1 / dosed.dose.let_down - 1
    name, least = label(dosed.colourant.name), STEPS_LEAST * scale
    if ratio > ONCE:
        twice = np.sqrt(1 + ratio) - 1
        second = _enough(measured_grams(dosed) / (1 + twice), least, scale)
        first = _enough(second / (1 + twice), least, scale)
        return (
            f"let down twice: {grams(first)} {name} in {grams(first * twice)} {into}, "
            f"then {grams(second)} of that in {grams(second * twice)} {into}"
        )
    neat = _enough(dosed.grams, least, scale)
    return f"let down: {grams(neat)} {name} in {grams(neat * ratio)} {into}"


def _enough(needed: float, least: float, scale: float) -> float:
    """Round up to a step of the scale, and to what it weighs well. [g]"""
    return max(least, float(np.ceil(needed / scale - 1e-9)) * scale)


def dose_words(dosed: Dosed) -> str:
    """Write a dose as short as it can be said: "4 drops", "0.5 g of 50:1"."""
    return str(dosed.dose).replace("of a ", "of ").removesuffix(" let-down")


def dose_row(dosed: Dosed, layer: Layer, *, scale: float) -> dict[str, Any]:
    """Return one dose as it stands on the card."""
    per = "" if layer.batch is not None else " in each kg"
    return {
        "bottle": dosed.colourant.name,
        "dose": dose_words(dosed),
        "grams": f"{grams(measured_grams(dosed))}{per}",
        "ounces": f"{ounces(measured_grams(dosed))}{per}",
        "let_down": let_down_words(dosed, layer, scale=scale),
    }


def bath_row(bathed: Bathed) -> dict[str, Any]:
    """Return one bath as it stands on the card."""
    faces = "both faces" if bathed.faces == 2 else "one face, back masked"
    return {
        "bottle": bathed.colourant.name,
        "dose": f"{bathed.minutes:g} min",
        "grams": faces,
        "ounces": "",
        "let_down": "",
    }


def coats_words(coats: Coats) -> str:
    """Write "2 coats pink ink"."""
    return f"{coats.count} coat{'s' * (coats.count != 1)} {label(coats.ink.name)}"


def steps(inset: Inset, *, supply: str = "") -> list[str]:
    """Return the order of work.

    Parameters
    ----------
    inset : Inset
    supply : str
        The battery in words; "" without one.
    """
    found: list[str] = []
    casts = [layer for layer in inset.layers if layer.kind == "cast"]
    for layer in inset.layers:
        if layer.kind == "cast":
            found += _cast(layer, casts)
        elif layer.kind == "sheet" and layer.bathed:
            found += _bath(layer)
        elif layer.kind == "film":
            found += [f"Film: {_all(layer.coats)}, dry between coats."]
        found += _frost(layer)
    found += _coated(inset)
    found += _stack(inset)
    if supply:
        found.append(f"Wire: {supply}. Mind plus and minus.")
    far = f" from {inset.distance / 1000:.2g} m" if inset.distance else ""
    return [*found, f"Light it, look{far}, write down what came out."]


def _coated(inset: Inset) -> list[str]:
    """Say which coats go on which LED; once where all have the same."""
    words = {light.emitter.name: _all(light.coats) for light in inset.lights}
    if len(words) > 1 and len(set(words.values())) == 1:
        words = {"": next(iter(words.values()))}
    return [
        f"Each {label(name)} LED: {coats}, dry between coats.".replace("  ", " ")
        for name, coats in words.items()
        if coats != NO_COAT
    ]


def _all(coats: tuple[Coats, ...]) -> str:
    return ", ".join(coats_words(one) for one in coats if one.count) or NO_COAT


def _cast(layer: Layer, casts: Sequence[Layer]) -> list[str]:
    diluted = sum(dosed.dose.let_down < 1 for dosed in layer.dosed)
    found = []
    if diluted:
        found.append(f"Make the let-down{'s' * (diluted > 1)} as above. Stir well.")
    weighed = parts(layer)
    if weighed:
        part, value = weighed[0]
        found.append(f"Weigh {named(part, layer, casts)}: {mass(value)}.")
    added = ", ".join(f"{dose_words(d)} {label(d.colourant.name)}" for d in layer.dosed)
    if added:
        found.append(f"Add {added}. Stir well.")
    pours = _pours(layer)
    if layer.share_a < 1:
        amount = f": {mass(weighed[1][1])}" if weighed else ""
        found.append(f"Add part B{amount}. Stir slowly, scrape the sides.")
        if pours > 1:
            found[-1] = (
                f"Split the dyed part A in {pours}. For each pour add 1/{pours} of "
                f"part B{amount} in all."
            )
    deep = f"Pour {layer.thickness:g} mm deep"
    if pours > 1:
        deep += f" in {pours} pours, the next when the last has gelled"
    found.append(f"{deep}; pour a chip of the same mix, 3 mm.")
    return [*found, "Cure as its sheet says."]


def _pours(layer: Layer) -> int:
    deepest = layer.medium.pour_depth if layer.medium is not None else None
    return int(np.ceil(layer.thickness / deepest)) if deepest else 1


def _bath(layer: Layer) -> list[str]:
    limit = layer.medium.bath_limit if layer.medium is not None else None
    below = f" below {limit:g} C" if limit else ""
    found = ["Mask the back."] if any(b.faces == 1 for b in layer.bathed) else []
    found += [
        f"Bath{below}: {label(b.colourant.name)}, {b.minutes:g} min. Rinse."
        for b in layer.bathed
    ]
    return [*found, "Dye a scrap of the same sheet as a chip."]


def _frost(layer: Layer) -> list[str]:
    found = []
    if layer.back == "frosted":
        found.append(f"Frost the back of the {name_of(layer)} (towards the LEDs).")
    if layer.finish == "frosted":
        found.append(f"Frost the face of the {name_of(layer)} (towards you).")
    return found


def _stack(inset: Inset) -> list[str]:
    """Say what lies on what, from the LEDs to the eye."""
    box = []
    if inset.cavity is not None:
        box = [f"box {inset.cavity.depth:g} mm, {label(inset.cavity.wall.name)}"]
    layers = [
        "air gap"
        if layer.kind == "gap"
        else "film"
        if layer.kind == "film"
        else f"{name_of(layer)} {layer.thickness:.3g} mm"
        for layer in inset.layers
    ]
    whole = [*box, *layers]
    return [f"Stack from the LEDs: {', '.join(whole)}."] if whole else []


def bottles_of(layer: Layer) -> list[Bottle]:
    """Return the bottles in a layer."""
    found = [dosed.colourant for dosed in layer.dosed]
    found += [bathed.colourant for bathed in layer.bathed]
    return [one for one in found if isinstance(one, Bottle)]
