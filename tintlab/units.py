"""Quantities as a maker writes them, turned into the units of the package.

Lengths become mm, masses g, volumes mL, times min, angles degrees. Drops and parts
per hundred need the bottle and the mix and are resolved in `tintlab.inset`.
"""

import math
import re
from dataclasses import dataclass

from tintlab.errors import TintlabError

# NIST SP 811 (2008), appendix B: exact inch, pound (avoirdupois) and US gallon
INCH = 25.4  # [mm]
OUNCE = 28.349523125  # [g]
FLUID_OUNCE = 29.5735295625  # [mL], US

LENGTHS = {
    **dict.fromkeys(("mm", "millimetre", "millimetres"), 1.0),
    "cm": 10.0,
    "m": 1000.0,
    **dict.fromkeys(("um", "micron", "microns", "\N{MICRO SIGN}m"), 1e-3),
    **dict.fromkeys(("inch", "inches", "in", '"'), INCH),
    **dict.fromkeys(("mil", "mils", "thou"), INCH / 1000),
    **dict.fromkeys(("ft", "feet", "foot"), INCH * 12),
}
MASSES = {
    **dict.fromkeys(("g", "gram", "grams"), 1.0),
    "mg": 1e-3,
    "kg": 1000.0,
    **dict.fromkeys(("oz", "ounce", "ounces"), OUNCE),
    **dict.fromkeys(("lb", "lbs"), OUNCE * 16),
}
VOLUMES = {
    **dict.fromkeys(("ml", "mL", "cc"), 1.0),
    **dict.fromkeys(("l", "L"), 1000.0),
    **dict.fromkeys(("fl oz", "floz"), FLUID_OUNCE),
}
TIMES = {
    **dict.fromkeys(("min", "minute", "minutes"), 1.0),
    **dict.fromkeys(("s", "second", "seconds"), 1 / 60),
    **dict.fromkeys(("h", "hour", "hours"), 60.0),
}
ANGLES = dict.fromkeys(("deg", "degree", "degrees", "\N{DEGREE SIGN}"), 1.0)
CURRENTS = {"mA": 1.0, "A": 1000.0}
TEMPERATURES = dict.fromkeys(("C", "\N{DEGREE SIGN}C"), 1.0)
RATIOS = {"%": 0.01, "phr": 0.01}

LONGEST = 1000  # characters of a quantity; longer text is no quantity

_NUMBER = (
    r"(\d+ \d+ ?/ ?\d+|[-+]?\d+ ?/ ?\d+"
    r"|[-+]?(?:\d+(?:\.\d+)?|\.\d+)(?:[eE][-+]?\d+)?)"
)
_QUANTITY = re.compile(rf"{_NUMBER} ?(.*)")


def _plain(text: str) -> str:
    plain = " ".join(str(text).split())
    if len(plain) > LONGEST:
        raise TintlabError(
            f'"{plain[:20]}..." has {len(plain):,} characters; a quantity is a number '
            "and a unit"
        )
    return plain


def _finite(number: str, text: str, *, unit: float = 1.0) -> float:
    """Turn "0.5", "3/8" or "1 1/2" into a number of the base unit."""
    total = 0.0
    for part in re.sub(" ?/ ?", "/", number).split():
        above, _, below = part.partition("/")
        if below and float(below) == 0:
            raise TintlabError(f'"{text}" divides by zero; mend the number')
        total += float(above) / float(below or 1)
    if not math.isfinite(total * unit):
        raise TintlabError(f'"{text}" is no finite number; mend it')
    return total * unit


def split(text: str, units: dict[str, float], *, example: str) -> tuple[float, str]:
    """Read a number with its unit, and tell which unit it was.

    Parameters
    ----------
    text, units, example
        As for `quantity`.

    Returns
    -------
    tuple of float and str
        In the base unit of `units`, and the unit as written.

    Raises
    ------
    TintlabError
        When number or unit is missing or unknown.
    """
    text = _plain(text)
    found = _QUANTITY.fullmatch(text)
    if not found:
        raise TintlabError(
            f'"{text}" is no quantity; write a number and a unit, as in "{example}"'
        )
    number, unit = found.groups()
    known = ", ".join(units)
    if not unit:
        raise TintlabError(
            f'"{text}" has no unit; write it as in "{example}" (units: {known})'
        )
    if re.match(r",\d", unit):
        raise TintlabError(
            f'"{text}" has a decimal comma; write a point, as in '
            f'"{text.replace(",", ".")}"'
        )
    if unit not in units:
        raise TintlabError(
            f'"{unit}" in "{text}" is no unit for this; units: {known}, as in '
            f'"{example}"'
        )
    return _finite(number, text, unit=units[unit]), unit


def quantity(text: str, units: dict[str, float], *, example: str) -> float:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        As "9 mm", "3/8 inch", "1 1/2 inch" or '0.25"'.
    units : dict
        What one of each unit is worth.
    example : str
        What a right text looks like, for the error.

    Returns
    -------
    float
        In the base unit of `units`.

    Raises
    ------
    TintlabError
        When number or unit is missing or unknown.

    Examples
    --------
    >>> quantity("1/2 inch", LENGTHS, example="9 mm")
    12.7
    """
    return split(text, units, example=example)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dose:
    """An amount of dye as the maker measures it out.

    Attributes
    ----------
    amount : float
        Drops, grams, or ratio, by `unit`.
    unit : str
        "drops", "g", "%" (of the whole batch), or "phr" (per hundred of part A).
    let_down : float
        Share of bottle liquid in what is measured out: 1 neat, 1/51 for a 50:1
        let-down (50 parts of part A to 1 part of dye, by weight).
    """

    amount: float
    unit: str
    let_down: float = 1.0

    def __str__(self) -> str:
        if self.unit == "drops":
            text = f"{self.amount:g} drop" + "s" * (self.amount != 1)
        elif self.unit == "g" and self.amount < 0.1:
            text = f"{self.amount * 1000:.3g} mg"
        elif self.unit == "g":
            text = f"{self.amount:.4g} g"
        else:
            text = f"{self.amount * 100:.3g} {self.unit}"
        if self.let_down < 1:
            text += f" of a {1 / self.let_down - 1:.4g}:1 let-down"
        return text


_LET_DOWN = re.compile(rf"(.*?) of (?:a )?{_NUMBER} ?: ?1 let-?down")
_DOSES = {**MASSES, **RATIOS, "drops": 1.0, "drop": 1.0}


def dose(text: str) -> Dose:
    """Read a dose: "4 drops", "0.2 g", "20 mg", "0.3 %", "0.5 phr".

    A let-down is written "2 g of 50:1 let-down": 50 parts of resin part A to one part
    of bottle liquid, by weight, of which 2 g go into the batch.

    Raises
    ------
    TintlabError
        When the text is no dose, or negative.

    Examples
    --------
    >>> dose("2 g of 49:1 let-down").let_down
    0.02
    """
    text = _plain(text)
    measured, parts = text, 0.0
    if diluted := _LET_DOWN.fullmatch(text):
        measured, parts = diluted.group(1), _finite(diluted.group(2), text)
    elif ":" in text:
        raise TintlabError(
            f'"{text}" is no let-down; write the parts of part A to 1 part of dye, as '
            'in "2 g of 50:1 let-down"'
        )
    amount, unit = split(measured, _DOSES, example="4 drops")
    if amount < 0 or parts < 0:
        raise TintlabError(
            f'"{text}" is negative; a dose and the parts of a let-down are zero or more'
        )
    kind = "g" if unit in MASSES else "drops" if unit.startswith("drop") else unit
    return Dose(amount=amount, unit=kind, let_down=1 / (1 + parts))


_MIX = re.compile(rf"{_NUMBER} ?: ?{_NUMBER} ?(?:by )?(weight|volume)?")


def mix(text: str) -> tuple[float, str]:
    """Read a mixing ratio of part A to part B.

    Returns
    -------
    tuple of float and str
        Share of part A in A + B, and "weight" or "volume".

    Raises
    ------
    TintlabError
        When the text is no ratio.

    Examples
    --------
    >>> mix("100:45 by weight")[1]
    'weight'
    """
    text = _plain(text)
    found = _MIX.fullmatch(text)
    if not found:
        raise TintlabError(
            f'"{text}" is no mixing ratio; write "100:45 by weight" or "2:1 by volume"'
        )
    part_a, part_b = _finite(found.group(1), text), _finite(found.group(2), text)
    if part_a <= 0 or part_b < 0:
        raise TintlabError(
            f'"{text}" is no mixing ratio; part A is more than zero and part B not '
            'negative, as in "100:45 by weight"'
        )
    return 1 / (1 + part_b / part_a), found.group(3) or "weight"


def size(text: str) -> tuple[float, float]:
    """Read the sides "40 x 60 mm" as width and height [mm].

    Raises
    ------
    TintlabError
        When it is no size.

    Examples
    --------
    >>> size("40 x 60 mm")
    (40.0, 60.0)
    """
    parts = re.split(" ?[xX\N{MULTIPLICATION SIGN}] ?", _plain(text))
    if len(parts) != 2:
        raise TintlabError(
            f'"{_plain(text)}" is no size; write "40 x 60 mm", or diameter = "30 mm" '
            "for a round piece"
        )
    first, second = parts
    height, unit = split(second, LENGTHS, example="40 x 60 mm")
    if re.fullmatch(_NUMBER, first):
        first = f"{first} {unit}"
    return quantity(first, LENGTHS, example="40 x 60 mm"), height
