"""Values of an inset file: quantities with units, materials by name.

Every mistake becomes an error at its own line.
"""

from collections.abc import Callable
from typing import Any

from tintlab import document, units
from tintlab.document import Section
from tintlab.errors import ShelfError, TintlabError
from tintlab.shelf import Shelf

MOST = 1e6  # mm, g, min or mA of anything; more, or less than 1 / MOST, is a slip


def parse(section: Section, key: str, reader: Callable[[str], Any], text: str) -> Any:
    """Read a text by `reader`; what it refuses is an error at the line of `key`."""
    try:
        return reader(text)
    except TintlabError as problem:
        section.fail(key, f"{key}: {problem}")


def quantity(
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
    value = parse(
        section, key, lambda t: units.quantity(t, known, example=example), text
    )
    if positive and value <= 0:
        section.fail(key, f'{key} = "{text}" must be more than zero')
    check_sane(section, key, text, value)
    return value


def check_sane(section: Section, key: str, text: str, value: float) -> None:
    """Refuse a value so large or small that it must be a slip."""
    if abs(value) > MOST or 0 < abs(value) < 1 / MOST:
        section.fail(key, f'{key} = "{text}" cannot be meant; check number and unit')


def find(
    section: Section,
    key: str,
    shelf: Shelf,
    kind: str,
    default: Any = ...,
) -> Any:
    """Find the material of the shelf that `key` names."""
    name = section.text(key) if default is ... else section.text(key, default)
    try:
        return shelf.find(kind, name)
    except ShelfError as problem:
        section.fail(key, str(problem))
