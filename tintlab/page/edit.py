"""Changing one value of a TOML text; comments, order and layout stay as written.

A place in the text is a trail of table names, positions and keys, as in
("layer", 2, "dyes", 0, "dose"). Every function takes a text and returns a new one, and
what the new text says is compared with what it should say before it is handed out.
"""

import copy
import itertools
import json
import math
import numbers
import re
import tomllib
from collections.abc import Callable
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from tintlab.document import Trail, shown
from tintlab.errors import PageError
from tintlab.page import blocks

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def parsed(text: str) -> dict[str, Any]:
    """Return what a text says.

    Raises
    ------
    PageError
        When it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        raise PageError(
            "the text of this file does not read, so no value of it can be changed; "
            "mend the line that is named first, or undo"
        ) from None


def value_at(data: dict[str, Any], keys: Trail, default: Any = None) -> Any:
    """Return the value at a trail, or `default` when nothing is there.

    Examples
    --------
    >>> value_at({"layer": [{"kind": "gap"}]}, ("layer", 0, "kind"))
    'gap'
    """
    found: Any = data
    for key in keys:
        try:
            found = found[key]
        except (KeyError, IndexError, TypeError):
            return default
    return found


def with_value(text: str, keys: Trail, value: Any) -> str:
    """Set a value; tables and lists on the way are made when they are missing.

    Parameters
    ----------
    text : str
    keys : tuple
        A position one past the end of a list appends to it.
    value : text, number, bool, or a list or dict of such

    Raises
    ------
    PageError
        When the text does not read, there is no such place, or TOML has no such value.
    """
    data = parsed(text)
    value = _plain(value)
    wanted = _changed(data, keys, lambda holder, key: _set(holder, key, value))
    old = value_at(data, keys)
    if (
        isinstance(old, dict)
        and isinstance(value, dict)
        and blocks.block_lines(text, keys)
    ):
        return _checked(_key_by_key(text, keys, old, value), wanted)
    if _is_block(keys, data):
        name, position = str(keys[0]), int(keys[1])
        rest = text if old is None else without(text, keys)
        return _checked(_block_added(rest, name, position, value), wanted)
    if len(keys) == 1 and isinstance(value, dict):
        rest = text if old is None else without(text, keys)
        lines = [f"[{_name(keys[0])}]", *_assignments(value)]
        return _checked(blocks.appended(rest, lines), wanted)
    if len(keys) > 1 and keys[0] not in data:
        block = isinstance(keys[1], int) and len(keys) > 2
        header = f"[[{_name(keys[0])}]]" if block else f"[{_name(keys[0])}]"
        text = blocks.appended(text, [header])
    table, new, inner = _missing(tomllib.loads(text), keys, value)
    if new is not None and (not table or blocks.block_lines(text, table) is not None):
        return _checked(
            blocks.with_lines(text, table, _assignments({new: inner})), wanted
        )
    return _checked(_with_kit(text, keys, lambda h, k: _put(h, k, value)), wanted)


def _key_by_key(
    text: str, keys: Trail, old: dict[str, Any], value: dict[str, Any]
) -> str:
    """Make a table say what it should in its place, with what stays left alone."""
    for key in old:
        if key not in value:
            text = without(text, (*keys, key))
    for key, part in value.items():
        if old.get(key) != part:
            text = with_value(text, (*keys, key), part)
    return text


def with_inserted(text: str, keys: Trail, value: Any) -> str:
    """Put a value before the one at a position of a list.

    Raises
    ------
    PageError
        As `with_value`.
    """
    data, value = parsed(text), _plain(value)
    wanted = _changed(data, keys, lambda holder, key: _insert(holder, key, value))
    if _is_block(keys, data):
        name, position = str(keys[0]), int(keys[1])
        return _checked(_block_added(text, name, position, value), wanted)
    if value_at(data, keys[:-1]) is None:
        return with_value(text, keys, value)
    return _checked(
        _with_kit(text, keys, lambda h, k: h.insert(k, _item(value))), wanted
    )


def without(text: str, keys: Trail) -> str:
    """Take a value, a table or an item of a list out; its comment goes with it.

    Raises
    ------
    PageError
        When the text does not read or nothing is there.
    """
    data = parsed(text)
    wanted = _changed(data, keys, _delete)
    name = str(keys[0])
    if _is_block(keys, data) and len(data[name]) == 1:
        del wanted[name]  # the last [[table]] of its name leaves no list behind
    cut = blocks.cut_out(text, keys)
    if cut is not None:
        return _checked(cut[0], wanted)
    return _checked(_with_kit(text, keys, _delete), wanted)


def moved(text: str, keys: Trail, to: int) -> str:
    """Move an item of a list to another position.

    Raises
    ------
    PageError
        When the text does not read or there is no such place.
    """
    data = parsed(text)
    items = value_at(data, keys[:-1])
    if not isinstance(items, list) or not 0 <= to < len(items):
        raise PageError(f"there is no place {to} to move {_where(keys)} to")
    value = value_at(data, keys, PageError)
    if value is PageError:
        raise _nothing(keys)
    wanted = copy.deepcopy(data)
    inside = value_at(wanted, keys[:-1])
    inside.insert(to, inside.pop(keys[-1]))
    cut = blocks.cut_out(text, keys) if len(keys) == 2 else None
    if cut is None:
        rest = without(text, keys)
        return _checked(with_inserted(rest, (*keys[:-1], to), value), wanted)
    return _checked(blocks.put_in(cut[0], str(keys[0]), to, cut[1]), wanted)


# ---------------------------------------------------------- what it should say


def _changed(
    data: dict[str, Any], keys: Trail, change: Callable[[Any, Any], None]
) -> dict[str, Any]:
    """Change a copy of plain data at a trail; the second opinion on every text."""
    wanted = copy.deepcopy(data)
    holder: Any = wanted
    try:
        for key, following in itertools.pairwise(keys):
            if isinstance(holder, list) and key == len(holder):
                holder.append([] if isinstance(following, int) else {})
            elif isinstance(holder, dict) and key not in holder:
                holder[key] = [] if isinstance(following, int) else {}
            holder = holder[key]
        _check_kind(holder, keys)
        change(holder, keys[-1])
    except (KeyError, IndexError, TypeError, AttributeError):
        raise _nothing(keys) from None
    return wanted


def _check_kind(holder: Any, keys: Trail) -> None:
    """Refuse a name in a list, a position in a table, a place counted from the end."""
    key = keys[-1]
    kind = list if isinstance(key, int) else dict
    below = any(isinstance(k, int) and k < 0 for k in keys)
    if below or isinstance(key, bool) or not isinstance(holder, kind):
        raise _nothing(keys)


def _set(holder: Any, key: Any, value: Any) -> None:
    if isinstance(holder, list) and key == len(holder):
        holder.append(copy.deepcopy(value))
    else:
        holder[key] = copy.deepcopy(value)


def _insert(holder: Any, key: Any, value: Any) -> None:
    if key > len(holder):
        raise IndexError
    holder.insert(key, copy.deepcopy(value))


def _delete(holder: Any, key: Any) -> None:
    del holder[key]


def _nothing(keys: Trail) -> PageError:
    return PageError(
        f"there is nothing at {_where(keys)} of this file; reload the page"
    )


def _where(keys: Trail) -> str:
    return shown(".".join(str(key) for key in keys))


def _checked(text: str, wanted: dict[str, Any]) -> str:
    """Hand out a text only if it says what it should."""
    try:
        good = tomllib.loads(text) == wanted
    except (ValueError, RecursionError):
        good = False
    if not good:
        raise PageError(
            "this change cannot be made without touching other parts of the file; make "
            "it in the text itself"
        )
    return text


# ------------------------------------------------------------------- values


def _missing(
    data: dict[str, Any], keys: Trail, value: Any
) -> tuple[Trail, str | None, Any]:
    """Return the table that lacks a key of a trail, that key, and what it is to hold.

    The key is None when nothing is missing, or a list lacks an item.
    """
    for length, key in enumerate(keys):
        if value_at(data, keys[: length + 1], PageError) is PageError:
            for step in reversed(keys[length + 1 :]):
                value = [value] if isinstance(step, int) else {step: value}
            return keys[:length], key if isinstance(key, str) else None, value
    return keys, None, value


def _plain(value: Any) -> Any:
    """Turn a value into what TOML can hold."""
    if isinstance(value, (str, bool)):
        return value
    if isinstance(value, numbers.Integral):
        return int(value)
    if isinstance(value, numbers.Real) and math.isfinite(value):
        return float(f"{float(value):.10g}")  # a slider's 0.30000000000000004 is 0.3
    if isinstance(value, (list, tuple)):
        return [_plain(part) for part in value]
    if isinstance(value, dict) and all(isinstance(key, str) for key in value):
        return {key: _plain(part) for key, part in value.items()}
    raise PageError(f"a file cannot hold {shown(value)}; give a text or a number")


def _written(value: Any) -> str:
    """Write a value as a maker would; JSON's escapes are a part of TOML's."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return "[" + ", ".join(_written(part) for part in value) + "]"
    if isinstance(value, dict):
        pairs = ", ".join(f"{_name(k)} = {_written(v)}" for k, v in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    return repr(value)


def _name(key: str | int) -> str:
    return str(key) if _BARE.fullmatch(str(key)) else _written(str(key))


def _assignments(table: dict[str, Any]) -> list[str]:
    return [f"{_name(key)} = {_written(value)}" for key, value in table.items()]


def _item(value: Any) -> Any:
    return tomlkit.parse(f"x = {_written(value)}\n")["x"]


def _put(holder: Any, key: Any, value: Any) -> None:
    if isinstance(key, int) and key == len(holder):
        holder.append(_item(value))
    else:
        holder[key] = _item(value)


def _with_kit(text: str, keys: Trail, change: Callable[[Any, Any], Any]) -> str:
    """Change a place inside a table by tomlkit, which keeps the layout."""
    try:
        document = tomlkit.parse(
            text if text.endswith("\n") or not text else text + "\n"
        )
        holder: Any = document
        for key, following in itertools.pairwise(keys):
            missing = key == len(holder) if isinstance(key, int) else key not in holder
            if missing:
                _put(holder, key, [] if isinstance(following, int) else {})
            holder = holder[key]
        change(holder, keys[-1])
        return tomlkit.dumps(document)
    except (TOMLKitError, KeyError, IndexError, TypeError, ValueError):
        raise PageError(
            f"the value at {_where(keys)} cannot be changed without touching other "
            "parts of the file; make the change in the text itself"
        ) from None


# --------------------------------------------------------------- [[tables]]


def _is_block(keys: Trail, data: dict[str, Any]) -> bool:
    """Tell whether a trail is a [[table]], there already or to be made."""
    if len(keys) != 2 or not isinstance(keys[1], int):
        return False
    items = data.get(str(keys[0]), [])
    return isinstance(items, list) and all(isinstance(item, dict) for item in items)


def _block_added(text: str, name: str, position: int, value: dict[str, Any]) -> str:
    """Put a [[table]] in front of the one at a position."""
    if not isinstance(value, dict):
        raise PageError(f"{name} {position + 1} of this file is a table, not a value")
    if _is_inline(text, name):
        return _with_kit(text, (name, position), lambda h, k: h.insert(k, _item(value)))
    own = [f"[[{_name(name)}]]", *_assignments(value)]
    return blocks.put_in(text, name, position, own)


def _is_inline(text: str, name: str) -> bool:
    """Tell whether tables stand as name = [{...}, ...]."""
    there = name in tomllib.loads(text)
    return there and blocks.block_lines(text, (name, 0)) is None
