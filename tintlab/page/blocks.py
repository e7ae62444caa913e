"""Tables of a TOML text as groups of lines: [[layer]], [target], with their comments.

Whole tables are put in, taken out and moved by lines, so that what a maker wrote around
them stays with them. Rows count from 0.
"""

import re

from tintlab.document import Trail, key_lines

_HEADER = re.compile(r"""\s*\[\[?\s*["'A-Za-z_]""")


def headers(text: str) -> list[tuple[int, Trail]]:
    """List the rows of the headers, with the trail of their tables."""
    lines = text.split("\n")
    found: dict[int, Trail] = {}
    for trail, row in key_lines(text).items():
        if _HEADER.match(lines[row - 1]) and len(trail) > len(found.get(row - 1, ())):
            found[row - 1] = trail
    return sorted(found.items())


def block_lines(text: str, keys: Trail) -> tuple[int, int] | None:
    """Return the first row and the row past the end of a table with a header.

    Comment lines right above a header belong to it; sub-tables belong to their table.
    """
    found = headers(text)
    rows = [row for row, trail in found if trail[: len(keys)] == keys]
    if not rows or (rows[0], keys) not in found:
        return None
    after = [row for row, _ in found if row > rows[-1]]
    lines = text.split("\n")
    end = _above(lines, after[0]) if after else len(lines)
    return _above(lines, rows[0]), end


def cut_out(text: str, keys: Trail) -> tuple[str, list[str]] | None:
    """Return a text without a table that has a header, and the lines of that table."""
    block = block_lines(text, keys)
    if block is None:
        return None
    lines = text.split("\n")
    rest = "\n".join(lines[: block[0]] + lines[block[1] :])
    return rest.rstrip("\n") + "\n", lines[block[0] : block[1]]


def put_in(text: str, name: str, position: int, own: list[str]) -> str:
    """Put the lines of a [[table]] in front of the one at a position, or at the end."""
    here = block_lines(text, (name, position))
    before = block_lines(text, (name, position - 1)) if position else None
    lines = text.split("\n")
    if here is None and before is None:
        return appended(text, own)
    row = here[0] if here is not None else (before or (0, 0))[1]
    return _joined([lines[:row], own, lines[row:]])


def with_lines(text: str, table: Trail, own: list[str]) -> str:
    """Add lines to a table that has a header, behind its last one."""
    lines = text.split("\n")
    rows = [row for row, _ in headers(text)]
    start = next((row for row, trail in headers(text) if trail == table), -1)
    end = next((row for row in rows if row > start), len(lines))
    while end > start + 1 and lines[end - 1].strip()[:1] in ("", "#"):
        end -= 1
    return "\n".join(lines[:end] + own + lines[end:])


def appended(text: str, own: list[str]) -> str:
    """Put the lines of a table behind everything."""
    return _joined([text.split("\n"), own])


def _above(lines: list[str], row: int) -> int:
    """Return the row of the first of the comment lines right above a row."""
    while row > 0 and lines[row - 1].lstrip().startswith("#"):
        row -= 1
    return row


def _joined(parts: list[list[str]]) -> str:
    """Join groups of lines with one blank line between, and a newline at the end."""
    texts = ["\n".join(part).strip("\n") for part in parts]
    return "\n\n".join(part for part in texts if part) + "\n"
