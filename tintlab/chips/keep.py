"""Writing what was learned to the maker's shelf, whole or not at all.

The text is written beside its place, read back as the shelf would read it, and only
then moved there in one step. The file that was there is kept with `.old` behind its
name.
"""

import json
import os
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.chips.evidence import (
    Evidence,
    Gaussian,
    Story,
    combined,
    key_of,
    story_of,
    without,
)
from tintlab.chips.ladder import Ladder, colourants, with_colourants
from tintlab.chips.learn import Learned
from tintlab.colourants import Bottle, Colourant, Ink
from tintlab.errors import ShelfError
from tintlab.shelf import open_shelf, shipped, slug
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

CITATION = "own test chips"
ROUNDING = 1e-3  # difference of logarithms that writing five figures explains


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What is to be written: where, the text, and what was there before.

    Attributes
    ----------
    path : Path
    text : str
    before, after : Colourant
    dyes : dict of str to str
        Texts of dye files that it needs, by file name (a spectrometer's curve).
    """

    path: Path
    text: str
    before: Colourant
    after: Colourant
    dyes: dict[str, str]


def with_priors(ladder: Ladder) -> Ladder:
    """Take earlier evidence from these very chips out of a ladder's bottles."""
    have = colourants(ladder)
    return with_colourants(
        ladder,
        {name: combined(without(story_of(one), ladder.key))
         for name, one in have.items()},
    )  # fmt: skip


def planned(
    learned: Learned,
    *,
    folder: Path,
    date: str,
    dye: tuple[str, Array] | None = None,
    elsewhere: bool = False,
) -> Plan | None:
    """Put new evidence to the old and say what would be written; None for nothing new.

    Parameters
    ----------
    learned : Learned
    folder : Path
        The maker's shelf, for a material that is not on it yet.
    date : str
        Of today.
    dye : (str, ndarray), optional
        Name and measured curve of the colourant's own dye, from a spectrometer.
    elsewhere : bool
        Write to `folder` although the material is on another shelf of the maker's.
    """
    if learned.evidence is None and learned.weighed is None:
        return None
    story = told = story_of(learned.prior)
    if learned.weighed is not None and isinstance(story.label, Bottle):
        drop, spread = learned.weighed
        if (
            abs(np.log(drop / story.label.drop))
            + abs(np.log(spread / story.label.drop_spread))
            > ROUNDING
        ):
            label = replace(story.label, drop=drop, drop_spread=spread)
            story = replace(story, label=label)
    if learned.evidence is not None:
        new = replace(learned.evidence, date=date)
        if not any(_alike(old, new) for old in story.evidence):
            kept = without(story, new.key).evidence
            story = replace(story, evidence=(*kept, new))
    after, one = combined(story), learned.prior
    here = Path(one.path)
    own = bool(one.path) and not here.is_relative_to(shipped())
    kind = "inks" if isinstance(one, Ink) else "bottles"
    path = here
    if elsewhere or not own:
        path = folder / kind / f"{slug(one.name)}.toml"
    dyes = {}
    if dye is not None:
        dyes[f"{slug(dye[0])}.toml"] = "\n".join(_dye_lines(after, *dye, date))
    text = "\n".join(_lines(after, story, None if dye is None else dye[0])) + "\n"
    if story is told and path.is_file():  # nothing new: rounding must not move it
        text, dyes = path.read_text(encoding="utf-8"), {}
    return Plan(path=path, text=text, before=one, after=after, dyes=dyes)


def _alike(old: Evidence, new: Evidence) -> bool:
    """Whether the same chips say the same again, but for rounding."""
    a, b = old.strength, new.strength
    return (
        (old.key, old.kind, old.by_drop) == (new.key, new.kind, new.by_drop)
        and len(old.doses) == len(new.doses)
        and abs(a.mean - b.mean) < 0.03 * b.deviation
        and abs(a.deviation - b.deviation) < 0.03 * b.deviation
    )


def write(plan: Plan) -> list[Path]:
    """Write a plan and return the files that were changed.

    Raises
    ------
    ShelfError
        When the place cannot be written to, or the text would not be read back.
    """
    folder = plan.path.parent.parent
    files = {folder / "dyes" / name: text for name, text in plan.dyes.items()}
    files[plan.path] = plan.text
    return [path for path, text in files.items() if _replaced(path, text)]


def write_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet.

    Raises
    ------
    ShelfError
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise ShelfError(
            f'"{path}" is there already; name another file, or remove it first'
        ) from None
    except OSError as problem:
        raise ShelfError(
            f'cannot write "{path}": {problem.strerror or problem}; check the folder'
        ) from None


def _replaced(path: Path, text: str) -> bool:
    """Put a text in the place of a file; False when it stands there already."""
    if path.is_file() and path.read_bytes() == text.encode("utf-8"):
        return False
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _beside(path, text)
        try:
            open_shelf(path.parent.parent).read(path.parent.name, temporary)
            _keep_old(path)
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as problem:
        raise ShelfError(
            f'cannot write "{path}": {problem.strerror or problem}; nothing was '
            "changed; check the folder, or name another with --into"
        ) from None
    return True


def _beside(path: Path, text: str) -> Path:
    """Write to a file of its own in the same folder, down to the disk."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(path.stat().st_mode if path.is_file() else 0o644)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _keep_old(path: Path) -> None:
    """Copy what is there to a name that no shelf reads."""
    if not path.is_file():
        return
    copy = _beside(path, path.read_text(encoding="utf-8"))
    try:
        copy.replace(path.with_name(path.name + ".old"))
    finally:
        copy.unlink(missing_ok=True)


# ------------------------------------------------------------ the text


def quoted(text: str) -> str:
    r"""Write a TOML string; JSON's escapes are a part of TOML's.

    Examples
    --------
    >>> quoted('3" mould')
    '"3\\" mould"'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _number(value: float) -> str:
    return f"{float(f'{value:.5g}')!r}".removesuffix(".0") if value else "0"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return _number(float(value))


def _table(header: str, rows: dict[str, Any]) -> Iterator[str]:
    yield ""
    yield header
    for key, value in rows.items():
        if value not in (None, "", ()):
            yield f"{key} = {_value(value)}"


def _lines(one: Colourant, story: Story, dye: str | None) -> Iterator[str]:
    """Write a bottle or ink with its story."""
    label = story.label
    yield f"name = {quoted(one.name)}"
    learned = bool(story.evidence)
    source = {
        "citation": CITATION if learned else label.source.citation,
        "kind": "learned" if learned else label.source.kind,
        "note": "" if learned else label.source.note,
    }
    yield from _table("[source]", source)
    yield from _table("[ink]" if isinstance(one, Ink) else "[bottle]", _own(one))
    shares = [(dye, 1.0)] if dye else [(d.name, share) for d, share in one.dyes]
    for name, share in shares:
        yield from _table("[[dye]]", {"name": name, "share": share})
    if not learned:
        return
    yield ""
    yield "# What was known before any chip. The numbers above are this and the"
    yield "# evidence below together; leave both, so that more chips can be counted."
    yield from list(_table("[label]", _label(label, story, dye)))[1:]
    for evidence in story.evidence:
        yield from _table("[[evidence]]", _evidence(evidence))


def _own(one: Colourant) -> dict[str, Any]:
    common: dict[str, Any] = {"hue": one.hue, "grade": one.grade}
    if isinstance(one, Ink):
        common |= {
            "peak_absorbance": one.peak_absorbance,
            "spread": one.spread,
            "gain": one.gain,
            "unevenness": one.unevenness,
            "broadening": one.broadening,
        }
    if isinstance(one, Bottle):
        common |= {
            "strength": one.strength,
            "spread": one.spread,
            "density": one.density,
            "drop": one.drop,
            "drop_spread": one.drop_spread,
            "bath_rate": one.bath_rate,
            "bath_saturation": one.bath_saturation,
            "carrier": one.carrier,
            "lot": one.lot,
            "date": one.date,
        }
    return common | {"shift": one.shift, "width": one.width, "caution": one.caution}


def _label(label: Colourant, story: Story, dye: str | None) -> dict[str, Any]:
    bathed = any("bath" in e.kind for e in story.evidence)
    key = key_of(label, bathed=bathed)
    rows = {key: getattr(label, key), "spread": label.spread}
    if isinstance(label, Bottle):
        rows |= {"drop": label.drop, "drop_spread": label.drop_spread}
        rows |= {"bath_saturation": label.bath_saturation} if bathed else {}
    if isinstance(label, Ink):
        rows["gain"] = label.gain
    if len(label.dyes) > 1 and dye is None:
        rows["shares"] = [share for _, share in label.dyes]
    source = label.source
    return rows | {
        "citation": source.citation,
        "kind": source.kind,
        "note": source.note,
    }


def _logs(one: Gaussian | None) -> list[float] | None:
    if one is None:
        return None
    return [float(np.exp(one.mean)), float(np.exp(Z95 * one.deviation))]


def _evidence(one: Evidence) -> dict[str, Any]:
    shift = None if one.shift is None else [one.shift.mean, one.shift.deviation]
    return {
        "key": one.key,
        "chips": one.chips,
        "date": one.date,
        "lot": one.lot,
        "kind": one.kind,
        "doses": list(one.doses),
        "strength": _logs(one.strength),
        "by_drop": one.by_drop or None,
        "drop": one.drop if one.by_drop else None,
        "shift": shift,
        "width": _logs(one.width),
        "shares": list(one.shares) or None,
        "gain": one.gain,
    }


def _dye_lines(one: Colourant, name: str, curve: Array, date: str) -> Iterator[str]:
    """Write a measured curve as a dye, every nanometre."""
    old = one.dyes[0][0]
    yield f"name = {quoted(name)}"
    source = {
        "citation": "own measurement",
        "kind": "measured",
        "conditions": f"in a test chip of {one.name}, {date}",
    }
    yield from _table("[source]", source)
    fluoresces = any(dye.fluoresces for dye, _ in one.dyes)
    yield from _table(
        "[dye]",
        {
            "class": old.dye_class,
            "hue": one.hue,
            "uses": list(old.uses),
            "fluoresces": fluoresces,
            "fades": old.fades,
            "caution": old.caution,
        },
    )
    peak = float(WAVELENGTHS[np.argmax(curve)])
    yield from _table("[strength]", {"peak": peak})
    yield from _table("[shape]", {"form": "table", "shift": 0.0, "delta_e": 0.5})
    yield "broadening = 1"
    yield 'columns = ["wavelength [nm]", "absorbance [-]"]'
    yield 'table = """'
    for wavelength, value in zip(WAVELENGTHS, curve, strict=True):
        yield f"{wavelength:.0f} {max(value, 0.0):.5f}"
    yield '"""'
    yield ""


def found_shelf(file: Path, own: Sequence[Path]) -> Path:
    """Return the maker's shelf that belongs to a chips file, made when need be."""
    for folder in (*own, file.parent / "shelf", file.parent.parent / "shelf"):
        if folder.is_dir():
            return folder
    return file.parent / "shelf"
