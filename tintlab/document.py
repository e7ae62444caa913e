"""Reading a TOML file that a maker wrote, with errors that name file and line.

`read` refuses what is no TOML text; a `Section` hands out one value at a time, checks
its type, and `close` refuses every key that nobody asked for, naming the nearest one.
"""

import difflib
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn

from tintlab.errors import TintlabError

LARGEST = 4_000_000  # [bytes]; an inset or a material is a few hundred lines
_REQUIRED: Any = object()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Document:
    """One file: its path, its text by lines, the error that it raises.

    `notes` collects what reading it taught and the maker should know.
    """

    path: Path
    lines: tuple[str, ...]
    error: type[TintlabError]
    notes: list[str] = field(default_factory=list)

    def line_of(self, trail: tuple[str | int, ...]) -> int:
        """Find the line where a key stands, as well as plain text tells.

        Parameters
        ----------
        trail : tuple
            Table names, positions in arrays and at last the key.

        Returns
        -------
        int
            Line number, from 1; the line of the section when the key is not found.
        """
        row, names = 0, [part for part in trail if isinstance(part, str)]
        for depth, part in enumerate(trail):
            if isinstance(part, int):
                continue
            following = trail[depth + 1] if depth + 1 < len(trail) else None
            count = following if isinstance(following, int) else 0
            dotted = ".".join(names[: names.index(part) + 1])
            header = re.compile(rf"\s*\[\[?\s*{re.escape(dotted)}\s*\]\]?")
            key = re.compile(rf'(^|[\s{{,])"?{re.escape(part)}"?\s*=')
            found = list(self._rows(header, row)) or list(self._rows(key, row))
            if found:
                row = found[min(count, len(found) - 1)]
        return row + 1

    def _rows(self, pattern: re.Pattern[str], start: int) -> Iterator[int]:
        for row in range(start, len(self.lines)):
            for _ in pattern.finditer(self.lines[row].split("#")[0]):
                yield row

    def fail(self, trail: tuple[str | int, ...], message: str) -> NoReturn:
        """Raise the document's error with file and line in front."""
        raise self.error(f"{self.path.name}:{self.line_of(trail)}: {message}")


@dataclass(slots=True, kw_only=True, eq=False)
class Section:
    """One table of a document, read key by key and then closed."""

    document: Document
    table: dict[str, Any]
    trail: tuple[str | int, ...] = ()
    known: list[str] = field(default_factory=list)

    def fail(self, key: str, message: str) -> NoReturn:
        """Raise the document's error at the line of `key`."""
        self.document.fail((*self.trail, key), message)

    def has(self, key: str) -> bool:
        """Tell whether the maker wrote this key."""
        self.known.append(key)
        return key in self.table

    def take(
        self, key: str, kind: type | tuple[type, ...], default: Any = _REQUIRED
    ) -> Any:
        """Return the value of `key`, checked to be of `kind`.

        Raises
        ------
        TintlabError
            When it is missing without a default, or of another type.
        """
        if not self.has(key):
            if default is _REQUIRED:
                self.fail(
                    key,
                    f'"{key}" is missing in {self.title}; add it, for example '
                    f"{key} = {_EXAMPLES.get(key, '...')}",
                )
            return default
        value = self.table[key]
        kinds = kind if isinstance(kind, tuple) else (kind,)
        wanted = (*kinds, int) if float in kinds else kinds
        wrong_bool = isinstance(value, bool) and bool not in kinds
        if wrong_bool or not isinstance(value, wanted):
            self.fail(
                key,
                f"{key} = {_shown(value)} is {_KINDS.get(type(value), 'something')}; "
                f"{key} takes {' or '.join(_KINDS[k] for k in kinds)}",
            )
        return value * 1.0 if kinds == (float,) and isinstance(value, int) else value

    def text(self, key: str, default: Any = _REQUIRED) -> str:
        """Return a text."""
        return self.take(key, str, default)

    def number(
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        low: float = -float("inf"),
        high: float = float("inf"),
    ) -> float:
        """Return a finite number between `low` and `high`."""
        value = self.take(key, float, default)
        if value is not None and not low <= value <= high:
            percent = "; percent is written as a ratio, 20 % as 0.2" * (high == 1)
            self.fail(key, f"{key} = {value:g} is outside {low:g} to {high:g}{percent}")
        return value

    def choice(self, key: str, among: tuple[str, ...], default: Any = _REQUIRED) -> str:
        """Return one of the words in `among`."""
        value = self.text(key, default)
        if key in self.table and value not in among:
            self.fail(
                key,
                f'{key} = "{value}" is not known; {nearest(value, among)}'
                f"choose one of: {', '.join(among)}",
            )
        return value

    def section(self, key: str) -> "Section | None":
        """Return a sub-table, or None when the maker left it out."""
        table = self.take(key, dict, None)
        return None if table is None else self._inside(table, (key,))

    def sections(self, key: str) -> list["Section"]:
        """Return the tables of an array, in the order of the file."""
        tables = self.take(key, list, [])
        for table in tables:
            if not isinstance(table, dict):
                self.fail(key, f"{key} takes tables like [[{key}]] or {{...}}")
        return [self._inside(t, (key, i)) for i, t in enumerate(tables)]

    def _inside(self, table: dict[str, Any], step: tuple[str | int, ...]) -> "Section":
        return Section(document=self.document, table=table, trail=(*self.trail, *step))

    @property
    def title(self) -> str:
        """The header as the maker sees it."""
        names = [str(part) for part in self.trail if isinstance(part, str)]
        return f"[{'.'.join(names)}]" if names else "the file"

    def close(self) -> None:
        """Refuse keys that nothing reads.

        Raises
        ------
        TintlabError
            Naming the key, its line and the nearest known key.
        """
        for key in self.table:
            if key not in self.known:
                known = tuple(dict.fromkeys(self.known))
                self.fail(
                    key,
                    f'"{key}" is not a key of {self.title}; {nearest(key, known)}'
                    f"known keys: {', '.join(known)}",
                )


_KINDS: dict[type, str] = {
    str: 'a text in quotes, "..."',
    float: "a number",
    int: "a whole number",
    bool: "true or false",
    list: "a list, [...]",
    dict: "a table",
}
_EXAMPLES = {
    "name": '"Tide bell window"',
    "emitter": '"white 4100 K"',
    "thickness": '"9 mm"',
    "batch": '"50 g"',
    "dose": '"4 drops"',
    "medium": '"epoxy casting"',
    "kind": '"cast"',
    "coats": "2",
    "ink": '"pink ink"',
    "depth": '"25 mm"',
    "wall": '"white paint"',
    "diffuser": '"opal sheet"',
}


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def nearest(word: str, among: tuple[str, ...] | list[str]) -> str:
    """Return 'did you mean "..."? ' for the most alike word, or nothing."""
    found = difflib.get_close_matches(word.lower(), among, n=1, cutoff=0.5)
    return f'did you mean "{found[0]}"? ' if found else ""


def read_text(path: Path, *, error: type[TintlabError], largest: int = LARGEST) -> str:
    """Read a text file that a maker named.

    Raises
    ------
    TintlabError
        Of the class `error`: missing, a folder, unreadable, too large, empty, or
        not UTF-8.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise error(f'asked for the file "{path}", which is a folder; name a file')
        if size > largest:
            raise error(
                f"{path.name} has {size / 1e6:.0f} MB; such a file has at most "
                f"{largest / 1e6:.0f} MB; is it the right file?"
            )
        content = path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or problem
        raise error(
            f'cannot read "{path}": {reason}; check its name and folder'
        ) from None
    if not content.strip():
        raise error(f"{path.name} is empty; write the file first")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        raise error(
            f"{path.name}:{line}: this line is not UTF-8 text; save the file as "
            '"UTF-8" in your editor'
        ) from None


def read(path: Path, *, error: type[TintlabError]) -> Section:
    """Read a TOML file and return its top-level section.

    Raises
    ------
    TintlabError
        Of the class `error`, with file, line and what stands there.
    """
    text = read_text(path, error=error)
    lines = tuple(text.splitlines())
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        found = re.search(r"at line (\d+)", str(problem))
        row = int(found.group(1)) if found else max(len(lines), 1)
        reason = str(problem).split(" (at")[0]
        here = lines[row - 1].strip() if row <= len(lines) else ""
        raise error(
            f"{path.name}:{row}: {reason}: {_shown(here)}; a line is written "
            'key = "value"'
        ) from None
    except RecursionError:
        raise error(f"{path.name}: brackets are nested too deeply") from None
    return Section(
        document=Document(path=path, lines=lines, error=error), table=table, trail=()
    )
