"""Doses and twins, as flat objects and as text."""

import textwrap
from typing import Any

from tintlab.colorimetry import XYZ_to_swatch
from tintlab.inset import Layer
from tintlab.report.data import YARDSTICK, flat
from tintlab.report.text import WIDTH, block, line, remark
from tintlab.solve.dose import Doses, Part, Recipe
from tintlab.solve.measures import serial_steps
from tintlab.solve.twin import Twin
from tintlab.units import OUNCE
from tintlab.verdict import predict

FAR = 10.0  # CIEDE2000; CIE 142:2001 is for less than about 5, from memory


def weight(grams: float) -> str:
    """Write a mass to 0.1 g, and in ounces."""
    return f"{grams:.1f} g ({grams / OUNCE:.3g} oz)"


def _part(part: Part) -> dict[str, Any]:
    how = f"{part.minutes:g} min" if part.minutes is not None else str(part.dose)
    return {
        "bottle": part.bottle.name,
        "dose": how,
        "grams_neat": round(part.grams, 5),
        "absorbance": round(part.absorbance, 4),
        "difference_one_step_less": round(part.less, 4),
        "difference_one_step_more": round(part.more, 4),
        "made_as": _made_as(part),
    }


def _made_as(part: Part) -> str:
    """Say how the let-down is made, when there is one."""
    if part.dose is None or part.dose.let_down >= 1:
        return ""
    ratio = round(1 / part.dose.let_down - 1)
    twice = serial_steps(ratio)
    if twice is not None:
        return (
            f"let down twice: 1 part in {twice} parts of part A by weight, then 1 part "
            f"of that in {twice} parts again"
        )
    return (
        f"1 part of {part.bottle.name} stirred into {ratio} parts of part A by weight"
    )


def dose_answer(found: Doses) -> dict[str, Any]:
    """Return everything about the doses, with one prediction each."""
    first = found.recipes[0].inset
    layer = first.layers[found.layer]
    recipes = [{**_recipe(one), **_parts_of(one, layer)} for one in found.recipes]
    return {
        "name": first.name,
        "layer": found.layer + 1,
        "bottles_looked_at": found.bottles,
        "sets_looked_at": found.subsets,
        "ideal_difference": round(found.ideal, 4),
        "recipes": recipes,
        "pours": found.pours,
        "yardstick": YARDSTICK,
    }


def _parts_of(recipe: Recipe, layer: Layer) -> dict[str, Any]:
    """Weigh parts A and B of a cast layer; part A in the let-downs is taken off."""
    if layer.kind != "cast" or not layer.batch:
        return {}
    share = layer.batch * layer.share_a
    if layer.parts_unknown:
        return {"resin": round(layer.batch - recipe.extra_a, 3)}
    return {
        "part_a": round(share - recipe.extra_a, 3),
        "part_b": round(layer.batch - share, 3),
        "part_a_taken_off": round(recipe.extra_a, 3),
    }


def _recipe(recipe: Recipe) -> dict[str, Any]:
    said = flat(predict(recipe.inset))
    kept = (
        *("glow_hex", "face_hex", "glow_words", "face_words", "light_kept"),
        *("light_kept_5_95", "difference_5_95", "within", "verdict", "reason"),
        *("spread_hex", "causes", "flags", "cautions", "target_hex", "luminance"),
        "target_region",
    )
    return {
        "how": recipe.how,
        "parts": [_part(part) for part in recipe.parts],
        "difference": round(recipe.difference, 4),
        "harmed": list(recipe.harmed),
        **{key: said[key] for key in kept},
    }


def dose_text(answer: dict[str, Any]) -> str:
    """Write the doses, the one to take first."""
    lines = [
        (
            f"{answer['name']}, layer {answer['layer']}: every set of up to three of "
            f"{answer['bottles_looked_at']} bottles, {answer['sets_looked_at']} in all"
        ),
    ]
    for number, recipe in enumerate(answer["recipes"], 1):
        title = "take" if number == 1 else "or"
        doses = " + ".join(f"{p['dose']} {p['bottle']}" for p in recipe["parts"])
        lines += ["", f"  {title.upper():<5} {doses}"]
        target = recipe["target_hex"]
        lines.append(
            f"        {block(recipe['glow_hex'])} glow {recipe['glow_hex']}  "
            + (f"{block(target)} target {target}  " if target else "")
            + f"{block(recipe['face_hex'])} unlit {recipe['face_hex']}"
        )
        low, high = recipe["difference_5_95"]
        lines.append(
            line(
                "difference",
                f"{recipe['difference']:.3g} ({low:.3g} to {high:.3g} with what is "
                f"unknown; {recipe['within'] * 100:.0f} % within), light kept "
                f"{recipe['light_kept'] * 100:.0f} %: {recipe['verdict']}",
            )
        )
        lines += [line("one step off", _steps(part)) for part in recipe["parts"]]
        lines += [
            line("make", part["made_as"]) for part in recipe["parts"] if part["made_as"]
        ]
        lines += _weighed(recipe)
    lines += ["", *_batch_lines(answer)]
    first = answer["recipes"][0]
    lines += [remark(flag["name"], flag["sentence"]) for flag in first["flags"]]
    if not first["target_region"] and first["difference"] > FAR:
        lines.append(
            remark(
                "far apart",
                f"CIEDE2000 is made for small differences; beyond about {FAR:g} it "
                "says that colours differ, not which of two looks nearer: go by the "
                "swatches",
            )
        )
    lines += ["", "  Take care:"]
    lines += [
        textwrap.fill(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
        for text in first["cautions"]
    ]
    return "\n".join(lines)


def _steps(part: dict[str, Any]) -> str:
    return (
        f"{part['bottle']}: difference {part['difference_one_step_less']:.3g} with one "
        f"less, {part['difference_one_step_more']:.3g} with one more"
    )


def _weighed(recipe: dict[str, Any]) -> list[str]:
    """Say what is weighed of parts A and B for this recipe."""
    if "resin" in recipe:
        text = (
            f"{weight(recipe['resin'])} of parts A and B together, in the ratio of "
            'their sheet; write it as mix = "100:45 by weight" to see both'
        )
        return [line("weigh", text)]
    if "part_a" not in recipe:
        return []
    off = recipe["part_a_taken_off"]
    less = f"; {off:.3g} g of part A are in the let-downs" if off else ""
    parts = f"part A {weight(recipe['part_a'])}, part B {weight(recipe['part_b'])}"
    return [line("weigh", parts + less)]


def _batch_lines(answer: dict[str, Any]) -> list[str]:
    lines = []
    if answer["pours"] > 1:
        lines.append(
            line(
                "pour",
                f"in {answer['pours']} layers; doses and parts are for one of them, "
                "mixed fresh each time, poured when the one before has gelled",
            )
        )
    return lines


def twin_answer(found: Twin) -> dict[str, Any]:
    """Return a comparison as a flat object."""
    anchor = found.ratio * found.a.XYZ[1] / max(found.b.XYZ[1], 1e-12)
    return {
        "difference": round(found.difference, 3),
        "difference_colour_only": round(found.colour_only, 3),
        "luminance_ratio": round(found.ratio, 4),
        "verdict": found.verdict,
        "a_hex": XYZ_to_swatch(found.a.XYZ / max(found.a.XYZ[1], 1.0)).hex,
        "b_hex": XYZ_to_swatch(
            found.b.XYZ * anchor / max(found.b.XYZ[1] * anchor, 1.0)
        ).hex,
        "a_luminance": found.a.luminance,
        "b_luminance": found.b.luminance,
        "causes": [
            {"cause": name, "difference_left": round(left, 3)}
            for name, left in found.causes
        ],
        "match": None if found.match is None else dose_answer(found.match),
        "yardstick": f"{YARDSTICK}; both on the scale of piece A",
    }


def twin_text(answer: dict[str, Any]) -> str:
    """Write a comparison."""
    swatches = (f"{block(answer[k])} {answer[k]}" for k in ("a_hex", "b_hex"))
    lines = [
        "  A " + "   B ".join(swatches) + f"   {answer['verdict']}",
        "",
        line(
            "difference",
            f"{answer['difference']:.1f} CIEDE2000 as they are, "
            f"{answer['difference_colour_only']:.1f} at equal brightness (2 is seen "
            "side by side, 5 across the room: common practice)",
        ),
        line("brightness", f"B is {answer['luminance_ratio']:.2f} times A"),
    ]
    lines += [
        line(
            "if B had",
            f"A's {cause['cause']}: {cause['difference_left']:.1f} would be left",
        )
        for cause in answer["causes"]
    ]
    if answer["match"]:
        best = answer["match"]["recipes"][0]
        doses = " + ".join(f"{p['dose']} {p['bottle']}" for p in best["parts"])
        lines += [
            "",
            line(
                "to match A",
                f"dose B with {doses}: colour difference {best['difference']:.1f}",
            ),
        ]
    return "\n".join(lines)
