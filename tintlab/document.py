"""Reading a TOML file that a maker wrote, with errors that name file and line.

`read` refuses what is no TOML text; a `Section` hands out one value at a time, checks
its type, and `close` refuses every key that nobody asked for, naming the nearest one.
"""

import difflib
import math
import re
import reprlib
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, NoReturn

from tintlab.errors import TintlabError

LARGEST = 4_000_000  # [bytes]; an inset or a material is a few hundred lines
_REQUIRED: Any = object()

Trail = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"""+|"(?:\\.|[^"\\\n])*"'
    r"|'''.*?'''+|'[^'\n]*'"
    r"""|\#[^\n]*|\n|[\[\]{},=]|[^\s\[\]{},=\#"']+""",
    re.DOTALL,
)
_NAME = re.compile(r""""((?:\\.|[^"\\])*)"|'([^']*)'|([A-Za-z0-9_-]+)""")


def key_lines(text: str) -> dict[Trail, int]:
    """Find the line of every table, key and array item of a TOML text.

    Parameters
    ----------
    text : str
        TOML that the standard library has read without an error; it tells no lines.

    Returns
    -------
    dict
        Trail (table names, positions in arrays, keys) to line number, from 1.
    """
    lines: dict[Trail, int] = {}
    newest: dict[Trail, int] = {}  # position of the last [[table]] of each name
    table: Trail = ()
    for statement in _statements(text):
        words, row = [word for word, _ in statement], statement[0][1]
        if words[0] == "[":
            table = _header(words, newest)
            trail = table
        else:
            equals = words.index("=")
            trail = (*table, *_names(words[:equals]))
            _value_lines(statement[equals + 1 :], trail, lines)
            lines[trail] = row
        for length in range(1, min(len(trail), 50) + 1):
            lines.setdefault(trail[:length], row)
    return lines


def _statements(text: str) -> Iterator[list[tuple[str, int]]]:
    """Yield the words of each header and assignment, with the line of each word."""
    statement: list[tuple[str, int]] = []
    row, depth = 1, 0
    for word in _TOKEN.findall(text):
        if not word.startswith(("#", "\n")):
            statement.append((word, row))
        depth += (word in "[{") - (word in "]}")
        if word == "\n" and statement and depth == 0:
            yield statement
            statement = []
        row += word.count("\n")
    if statement:
        yield statement


def _names(words: list[str]) -> list[str]:
    return ["".join(found) for found in _NAME.findall("".join(words))]


def _header(words: list[str], newest: dict[Trail, int]) -> Trail:
    *parents, name = _names(words)
    trail: Trail = ()
    for parent in parents:
        trail = (*trail, parent)
        trail = (*trail, newest[trail]) if trail in newest else trail
    trail = (*trail, name)
    if words[1] != "[":
        return trail
    newest[trail] = newest.get(trail, -1) + 1
    return (*trail, newest[trail])


def _value_lines(
    words: list[tuple[str, int]], trail: Trail, lines: dict[Trail, int]
) -> None:
    """Note the lines of what stands inside a value: array items, inline tables."""
    holders: list[tuple[Trail, int | None]] = []  # and the position in an array
    names: list[str] = []
    for word, row in words:
        if word in "]}":
            trail, _ = holders.pop()
        elif word == ",":
            holder, position = holders[-1]
            names = []
            if position is not None:
                holders[-1] = holder, position + 1
                trail = (*holder, position + 1)
        elif word == "=":
            trail, names = (*holders[-1][0], *_names(names)), []
        else:
            lines.setdefault(trail, row)
            names.append(word)
        if word == "[":
            holders.append((trail, 0))
            trail = (*trail, 0)
        elif word == "{":
            holders.append((trail, None))
            names = []


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Document:
    """One file: its path, its text, the error that it raises.

    `notes` collects what reading it taught and the maker should know.
    """

    path: Path
    text: str
    error: type[TintlabError]
    notes: list[str] = field(default_factory=list)

    def line_of(self, trail: Trail) -> int:
        """Find the line where a key stands.

        Parameters
        ----------
        trail : tuple
            Table names, positions in arrays and at last the key.

        Returns
        -------
        int
            Line number, from 1; the line of the section when the key is missing.
        """
        lines = key_lines(self.text)
        known = (trail[:length] for length in range(len(trail), 0, -1))
        return next((lines[part] for part in known if part in lines), 1)

    def fail(self, trail: Trail, message: str, *, below: int = 0) -> NoReturn:
        """Raise the document's error with file and line in front, on one line."""
        line = self.line_of(trail) + below
        short = _LONG_WORD.sub(_shortened, " ".join(message.split()))
        raise self.error(f"{self.path.name}:{line}: {short}")


_LONG_WORD = re.compile(r'"[^"]{81,}"|[^\s"]{81,}')


def _shortened(found: re.Match[str]) -> str:
    return f"{found[0][:40]}...{found[0][-30:]}"


@dataclass(slots=True, kw_only=True, eq=False)
class Section:
    """One table of a document, read key by key and then closed."""

    document: Document
    table: dict[str, Any]
    trail: Trail = ()
    known: list[str] = field(default_factory=list)

    def fail(self, key: str, message: str, *, below: int = 0) -> NoReturn:
        """Raise the document's error at the line of `key`, or some lines below it."""
        self.document.fail((*self.trail, key), message, below=below)

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
                self.missing(key, f'"{key}" is missing in {self.title}')
            return default
        value = self.table[key]
        kinds = kind if isinstance(kind, tuple) else (kind,)
        wanted = (*kinds, int) if float in kinds else kinds
        wrong_bool = isinstance(value, bool) and bool not in kinds
        if wrong_bool or not isinstance(value, wanted):
            self.fail(
                key,
                f"{key} = {shown(value)} is {_KINDS.get(type(value), 'a date')}; "
                f"{key} takes {' or '.join(_KINDS[k] for k in kinds)}",
            )
        return value

    def missing(self, key: str, message: str, *others: str) -> NoReturn:
        """Raise the document's error for a key, or one of several, that must be there.

        A key that is almost it, and that nothing has read yet, is named.
        """
        unread = [name for name in self.table if name not in self.known]
        for wanted in (key, *others):
            for near in difflib.get_close_matches(wanted, unread, n=1, cutoff=0.6):
                line = self.document.line_of((*self.trail, near))
                self.fail(key, f'{message}; line {line} has "{near}", write "{wanted}"')
        example = _EXAMPLES.get(key, f"{key} = ...")
        self.fail(key, f"{message}; add it, for example {example}")

    def one_of(self, *keys: str, required: bool = False) -> str | None:
        """Return the one of several keys that the maker wrote, or None.

        Raises
        ------
        TintlabError
            When there are two, which would say the same thing twice, or none that is
            required.
        """
        found = [key for key in keys if self.has(key)]
        if len(found) > 1:
            self.fail(
                found[1],
                f"{self.title} has both {found[0]} and {found[1]}; keep one of them",
            )
        if required and not found:
            self.missing(keys[0], f"{self.title} needs {' or '.join(keys)}", *keys[1:])
        return found[0] if found else None

    def text(self, key: str, default: Any = _REQUIRED) -> str:
        """Return a text."""
        return self.take(key, str, default)

    def texts(self, key: str, default: Any = _REQUIRED) -> list[str]:
        """Return a list of texts."""
        values = self.take(key, list, default)
        if not all(isinstance(value, str) for value in values):
            self.fail(
                key, f'{key} = {shown(values)}; {key} takes texts, ["...", "..."]'
            )
        return list(values)

    def number(
        self,
        key: str,
        default: Any = _REQUIRED,
        *,
        low: float = -float("inf"),
        high: float = float("inf"),
    ) -> float:
        """Return a finite number between `low` and `high`."""
        written = self.take(key, float, default)
        if written is None:
            return default
        value = finite(written)
        if value is None:
            self.fail(key, f"{key} = {shown(written)} is no finite number; mend it")
        if not low <= value <= high:
            percent = "; percent is written as a ratio, 20 % as 0.2" * (high == 1)
            self.fail(key, f"{key} = {value:g}; give {_range(low, high)}{percent}")
        return value

    def share(
        self, key: str, default: Any = _REQUIRED, *, low: float = 0, high: float = 1
    ) -> float:
        """Return a ratio, written as a number or as "20 %"."""
        written = self.table.get(key)
        if isinstance(written, str) and written.rstrip().endswith("%"):
            try:
                value = float(written.rstrip().removesuffix("%")) / 100
            except ValueError:
                self.fail(key, f'{key} = "{written}"; write it like 0.2 or "20 %"')
            numeric = replace(self, table=self.table | {key: value})
            return numeric.number(key, low=low, high=high)
        return self.number(key, default, low=low, high=high)

    def whole(self, key: str, default: Any = _REQUIRED, *, low: int, high: int) -> int:
        """Return a whole number between `low` and `high`."""
        value = self.take(key, int, default)
        if not low <= value <= high:
            self.fail(key, f"{key} = {shown(value)}; give {_range(low, high)}")
        return int(value)

    def numbers(self, key: str, count: int | None, default: Any = _REQUIRED) -> Any:
        """Return a list of finite numbers, as many as `count` when that is given."""
        values = self.take(key, list, default)
        if values is None:
            return None
        found = [finite(value) for value in values]
        if None in found or count not in (None, len(found)):
            many = "" if count is None else f"{count} "
            self.fail(
                key,
                f"{key} = {shown(values)}; {key} takes {many}finite numbers, "
                f"[{', '.join(['1.5', '2', '3'][:count])}]",
            )
        return found

    def choice(self, key: str, among: tuple[str, ...], default: Any = _REQUIRED) -> str:
        """Return one of the words in `among`."""
        value = self.text(key, default)
        if key in self.table and value not in among:
            self.fail(
                key,
                f"{key} = {shown(value)} is not known; {nearest(value, among)}"
                f"choose one of: {', '.join(among)}",
            )
        return value

    def section(self, key: str) -> "Section | None":
        """Return a sub-table, or None when the maker left it out."""
        if isinstance(self.table.get(key), list):
            self.fail(key, f"there is one {key} only; write [{key}] or {key} = {{...}}")
        table = self.take(key, dict, None)
        return None if table is None else self._inside(table, (key,))

    def sections(self, key: str) -> list["Section"]:
        """Return the tables of an array, in the order of the file."""
        if isinstance(self.table.get(key), dict):
            self.fail(key, f"there may be several {key}; write [[{key}]] or [{{...}}]")
        tables = self.take(key, list, [])
        for table in tables:
            if not isinstance(table, dict):
                self.fail(key, f"{key} takes tables like [[{key}]] or {{...}}")
        return [self._inside(t, (key, i)) for i, t in enumerate(tables)]

    def _inside(self, table: dict[str, Any], step: Trail) -> "Section":
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
    "name": 'name = "Tide bell window"',
    "emitter": 'emitter = "white 4100 K"',
    "thickness": 'thickness = "9 mm"',
    "batch": 'batch = "50 g"',
    "dose": 'dose = "4 drops"',
    "time": 'time = "20 min"',
    "bottle": 'bottle = "sea blue"',
    "medium": 'medium = "epoxy"',
    "kind": 'kind = "cast"',
    "coats": "coats = 2",
    "ink": 'ink = "pink ink"',
    "depth": 'depth = "25 mm"',
    "wall": 'wall = "white paint"',
    "diffuser": 'diffuser = "opal sheet"',
    "light": '[[light]] with emitter = "white 4100 K"',
    "file": 'file = "painting.png"',
    "at": "at = [120, 80]",
    "strength": "strength = 0.05, absorbance per mm for 1 g/kg (a common guess)",
    "hue": 'hue = "blue"',
    "lab": "lab = [62, -38, 4]",
    "size": 'size = "40 x 60 mm"',
    "source": '[source] with citation = "own measurement", kind = "measured"',
    "citation": 'citation = "own measurement"',
    "dye": '[[dye]] with name = "solvent blue 104"',
}


def finite(value: object) -> float | None:
    """Return a TOML value as a finite number, or None when it is none."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _range(low: float, high: float) -> str:
    if high == float("inf"):
        return f"{low:g} or more"
    return f"{low:g} to {high:g}" if low > -float("inf") else f"at most {high:g}"


def shown(value: object) -> str:
    """Show a value in an error, short and on one line, however deep it is."""
    text = f'"{value}"' if isinstance(value, str) else reprlib.repr(value)
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


def nearest(word: str, among: tuple[str, ...] | list[str]) -> str:
    """Return 'did you mean "..."? ' for the most alike word, or nothing."""
    known = {name.lower(): name for name in among}
    found = difflib.get_close_matches(word.lower()[:100], known, n=1, cutoff=0.5)
    return f'did you mean "{known[found[0]]}"? ' if found else ""


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
        with path.open("rb") as file:  # bytes: the encoding is checked below
            content = file.read(largest + 1)
    except (OSError, ValueError) as problem:
        if isinstance(problem, TintlabError):
            raise
        reason = getattr(problem, "strerror", None) or problem
        raise error(
            f"cannot read {shown(path.name)}: {reason}; check its name and its folder "
            f'"{path.parent}"'
        ) from None
    if len(content) > largest:
        raise error(
            f"{path.name} has no end within {largest / 1e6:.0f} MB; name a plain file"
        )
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


def read(path: Path, *, error: type[TintlabError], text: str | None = None) -> Section:
    """Read a TOML file and return its top-level section.

    Parameters
    ----------
    path : Path
    error : type
        Of what is raised.
    text : str, optional
        What the file will say; its text on disk is left alone then.

    Raises
    ------
    TintlabError
        Of the class `error`, with file, line and what stands there.
    """
    text = read_text(path, error=error) if text is None else text
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        lines = text.rstrip().split("\n")
        found = re.search(r"at line (\d+)", str(problem))
        row = int(found.group(1)) if found else len(lines)
        reason = shown(str(problem).split(" (at")[0]).strip('"')
        here = lines[row - 1].strip() if row <= len(lines) else ""
        raise error(
            f"{path.name}:{row}: {reason}: {shown(here)}; a line is written "
            'key = "value"'
        ) from None
    except RecursionError:
        depths = [line.count("[") + line.count("{") for line in text.split("\n")]
        row = depths.index(max(depths)) + 1
        raise error(
            f"{path.name}:{row}: brackets are nested too deeply; close some"
        ) from None
    except ValueError:  # the limit of Python for the digits of a whole number
        before = re.split(r"[\d_]{4000}", text, maxsplit=1)[0]
        raise error(
            f"{path.name}:{before.count(chr(10)) + 1}: a number has thousands of "
            "digits; shorten it"
        ) from None
    return Section(document=Document(path=path, text=text, error=error), table=table)
