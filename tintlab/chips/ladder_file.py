"""The chips file: which test pieces were made, and what was read of them.

::

    name = "Tide bell chips"
    emitter = "white 4100 K"      # the LED behind the blank and behind every chip
    under = "opal sheet"          # a diffuser under them, if there was one
    lot = "B 0417"                # what stands on the bottle, if you like

    [photo]                       # one picture, blank and chips over the same light
    file = "chips.jpg"
    marks = "marks.toml"          # where the patches are: see "tintlab chip read"
    second = "chips-dark.jpg"     # the same scene, two stops darker, if there is one
    flat = "flat.jpg"             # the lit diffuser alone, if there is one

    [body]                        # what all chips have in common
    medium = "epoxy"
    thickness = "3 mm"
    batch = "20 g"

    [[chip]]
    name = "blue 1"               # as in the marks
    dyes = [{ bottle = "sea blue", dose = "1 drop" }]

    [[weighed]]                   # one drop is what this says
    bottle = "sea blue"
    drops = 50
    mass = "1.32 g"

A chip may carry its own reading instead of being in the picture: `ratio = [r, g, b]`,
linear channel ratios to the blank; `light = 0.42`, a light-meter ratio to the blank;
`lab` or `xyz`, a colorimeter's triple with the blank as white and D65 as light;
`file = "blue-1.csv"`, a spectrometer's transmittance of the whole chip. `sure` is the
standard error of it. With typed ratios `[camera]` stands instead of `[photo]`: `kind`
is "raw" or "jpeg", `checked = true` says that light of 4:1 also read 4:1, `dark = true`
that the light of an opaque patch was taken out. A chip is a layer of an inset file:
`time = "10 min"` strips of a sheet, or `coats` on a film, stand in the place of a dose;
its `cure` says what hardened it, and chips of several cures teach each of them.
"""

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import document, units
from tintlab.causes import SCALE, Z95
from tintlab.chips.ladder import STRAY, STRAY_LEFT, Chip, Ladder, Sight, Weighed
from tintlab.chips.photo import read_photo
from tintlab.chips.photo_marks import read_marks
from tintlab.chips.photo_ratio import Reading
from tintlab.colorimetry import Lab_to_XYZ, tables
from tintlab.document import Section
from tintlab.errors import InsetError, ShelfError, TintlabError
from tintlab.inset import read_layer
from tintlab.shelf import Shelf

Array = NDArray[np.float64]

KINDS = ("jpeg", "raw")
READINGS = ("ratio", "light", "lab", "xyz", "file")
SURE_RATIO = 0.02  # standard error of a typed channel ratio, of the ratio; assumed
SURE_LIGHT = 0.06  # of a light-meter ratio: scatter and spectral mismatch; assumed
SURE_COLOUR = 0.01  # of a colorimeter's X, Y, Z, the white at 1; assumed
LEAST = 0.02  # a channel darker than this share of the blank is not used; assumed
DROP_REPEAT = 0.08  # relative deviation of one drop from the bottle's mean; assumed
OWN_NOISE = 0.003  # relative error of a channel by itself, at the least; assumed
RAW_TONE, CHECKED_TONE, OPEN_TONE = 0.01, 0.03, 0.15  # of typed ratios; assumed


def read_ladder(path: Path, shelf: Shelf) -> Ladder:
    """Read a chips file, and the picture that it names.

    Parameters
    ----------
    path : Path
    shelf : Shelf

    Raises
    ------
    InsetError
        With file and line.
    """
    top = document.read(path, error=InsetError)
    name = top.text("name")
    emitter = _found(top, "emitter", shelf, "emitters")
    under = _found(top, "under", shelf, "diffusers") if top.has("under") else None
    camera, notes = _camera(top, path)
    body = top.take("body", dict, {})
    chips = tuple(_chip(s, body, shelf, camera) for s in top.sections("chip"))
    weighed = tuple(_weighed(s, shelf) for s in top.sections("weighed"))
    if not chips:
        top.missing("chip", "there is no [[chip]]" + _alone(weighed))
    lot = top.text("lot", "")
    top.close()
    _refuse_doubles(top, chips)
    return Ladder(
        name=name,
        path=path,
        emitter=emitter,
        under=under,
        chips=chips,
        weighed=weighed,
        raw=camera.raw,
        tone=camera.tone,
        stray=camera.stray,
        lot=lot,
        key=hashlib.sha256(name.encode()).hexdigest()[:12],
        notes=notes,
    )


def _found(section: Section, key: str, shelf: Shelf, kind: str) -> Any:
    try:
        return shelf.find(kind, section.text(key))
    except ShelfError as problem:
        section.fail(key, str(problem))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """What the picture says: its sort, tone curve, stray light, a sight by name."""

    raw: bool = False
    tone: float = OPEN_TONE
    stray: float = STRAY
    sights: dict[str, Sight] = field(default_factory=dict)


def _camera(top: Section, path: Path) -> tuple[Camera, tuple[str, ...]]:
    way = top.one_of("photo", "camera")
    if way is None:
        return Camera(), ()
    section = top.section(way)
    if section is None:
        raise TypeError("the key is there")
    if way == "camera":
        raw = section.choice("kind", KINDS, "jpeg") == "raw"
        checked = section.take("checked", bool, False)
        stray = STRAY_LEFT if section.take("dark", bool, False) else STRAY
        section.close()
        tone = RAW_TONE if raw else CHECKED_TONE if checked else OPEN_TONE
        return Camera(raw=raw, tone=tone, stray=stray), ()
    return _photographed(section, path.parent)


def _photographed(section: Section, folder: Path) -> tuple[Camera, tuple[str, ...]]:
    """Read the picture that a [photo] names."""
    named = {
        key: folder / section.text(key)
        for key in ("file", "second", "flat", "marks")
        if section.has(key)
    }
    ratio = section.number("ratio", None, low=1e-4, high=1e4)
    section.close()
    for key in ("file", "marks"):
        if key not in named:
            section.missing(key, f'"{key}" is missing in [photo]')
    try:
        found = read_photo(
            named["file"],
            marks=read_marks(named["marks"]),
            second=named.get("second"),
            flat=named.get("flat"),
            ratio=ratio,
        )
    except TintlabError as problem:
        section.fail("file", str(problem))
    bend = found.tone.gamma_sigma / found.tone.gamma
    sights = {r.name: _unbent(r, bend) for r in found.readings}
    notes = [*found.notes]
    notes += [f"{r.name}: {note}" for r in found.readings for note in r.notes]
    stray = STRAY if found.stray is None else STRAY_LEFT
    return Camera(raw=found.raw, tone=bend, stray=stray, sights=sights), tuple(notes)


def _unbent(reading: Reading, bend: float) -> Sight:
    """Take out of each error what is common: the tone curve, and the level.

    Vignetting and the blank's own error are the same share in every channel; they are
    not more than the smallest relative error.
    """
    usable = reading.usable & (reading.ratio > LEAST)
    ratio = np.where(reading.usable, reading.ratio, 1.0)
    relative = np.where(reading.usable, reading.sigma, ratio) / ratio
    curve = np.log(np.maximum(ratio, 1e-6)) * bend
    relative = np.sqrt(np.maximum(relative**2 - curve**2, OWN_NOISE**2))
    common = float(relative[usable].min()) if usable.any() else 0.0
    own = np.sqrt(np.maximum(relative**2 - common**2, OWN_NOISE**2))
    return Sight(
        kind="camera", value=ratio, sigma=ratio * own, usable=usable, common=common
    )


def _chip(section: Section, body: dict[str, Any], shelf: Shelf, camera: Camera) -> Chip:
    name = section.text("name")
    sight = _sight(section, name, camera.sights)
    own = {k: v for k, v in section.table.items() if k not in section.known}
    table = {**body, **own}
    dyes = table.get("dyes")
    bathed = isinstance(dyes, list) and any("time" in d for d in dyes)
    table.setdefault("kind", "film" if "coats" in table else "sheet" if bathed else
                     "cast")  # fmt: skip
    if table["kind"] == "film":  # coats lie on the body, as on an offcut of sheet
        for key in ("batch", "mix", "cure"):
            table.pop(key, None)
        if "medium" in table:
            table["carrier"] = table.pop("medium")
    layer = read_layer(replace(section, table=table, known=[]), shelf)
    if not (layer.dosed or layer.bathed or layer.coats):
        section.fail("name", f'the chip "{name}" has no dyes and no coats; the blank '
                     "needs no [[chip]], it is in every ratio")  # fmt: skip
    return Chip(name=name, layer=layer, sight=sight)


def _sight(section: Section, name: str, seen: dict[str, Sight]) -> Sight:
    way = section.one_of(*READINGS)
    sure = section.number("sure", None, low=1e-4, high=1)
    if way is None:
        if name in seen:
            return seen[name]
        near = document.nearest(name, list(seen))
        section.fail(
            "name",
            f'nothing was read of the chip "{name}"; {near}mark it in the picture, or '
            "write ratio, light, lab, xyz or file",
        )
    if way == "file":
        file = section.document.path.parent / section.text("file")
        none = np.zeros(0)
        return Sight(
            kind="spectrum", value=none, sigma=none, usable=none > 0, file=file
        )
    if way == "light":
        value = np.array([section.number("light", low=1e-4, high=1.5)])
        return _plain("light", value, value * (sure or SURE_LIGHT))
    numbers = np.array(section.numbers(way, 3), dtype=float)
    if way == "ratio":
        return _ratio(section, numbers, sure or SURE_RATIO)
    if way == "lab":
        numbers = Lab_to_XYZ(numbers)
    if (numbers <= 0).any() or numbers.max() > 2:
        section.fail(way, f"{way}: the white of it is the blank, at L* 100 or Y = 1")
    value = numbers / tables().white
    return _plain("colour", value, np.full(3, sure or SURE_COLOUR))


def _plain(kind: str, value: Array, sigma: Array) -> Sight:
    usable = np.ones(value.size, dtype=bool)
    return Sight(kind=kind, value=value, sigma=sigma, usable=usable)


def _ratio(section: Section, value: Array, sure: float) -> Sight:
    if value.max() > 1.5 or value.min() < -0.1:
        section.fail(
            "ratio",
            f"ratio = {value.tolist()}; a ratio to the blank on linear light is 0 to "
            "1; was the blank darker than the chip?",
        )
    usable = value > LEAST
    if not usable.any():
        section.fail("ratio", "every channel is too dark to be read; cast it paler")
    return Sight(
        kind="camera",
        value=value,
        sigma=np.maximum(sure * np.abs(value), sure * 0.1),
        usable=usable,
    )


def _weighed(section: Section, shelf: Shelf) -> Weighed:
    """Mass of many drops on a scale; half a step is its limit of reading."""
    bottle = _found(section, "bottle", shelf, "bottles").name
    drops = section.whole("drops", low=1, high=10_000)
    text = section.text("mass")
    try:
        mass = units.quantity(text, units.MASSES, example="1.32 g")
        step = units.quantity(
            section.text("scale", f"{SCALE} g"), units.MASSES, example="0.1 g"
        )
    except TintlabError as problem:
        section.fail("mass", f"mass: {problem}")
    section.close()
    drop = mass / drops
    if not 0.002 <= drop <= 0.2:
        section.fail(
            "mass",
            f"{drops} drops of {text} are {drop * 1000:.3g} mg each; a drop is 2 to "
            "200 mg; check number and unit",
        )
    reading = step / 2 / np.sqrt(3) / mass
    return Weighed(
        bottle=bottle,
        drop=drop,
        deviation=float(np.hypot(reading, DROP_REPEAT / np.sqrt(drops))),
    )


def _alone(weighed: tuple[Weighed, ...]) -> str:
    """Say where weighed drops go when there are no chips."""
    return "".join(
        f'; drops of "{one.bottle}" by themselves go into the file of the bottle as '
        f"drop = {one.drop:.4f} and drop_spread = {np.exp(Z95 * one.deviation):.3f}"
        for one in weighed[:1]
    )


def _refuse_doubles(top: Section, chips: tuple[Chip, ...]) -> None:
    names = [chip.name for chip in chips]
    for i, name in enumerate(names):
        if name in names[:i]:
            top.document.fail(
                ("chip", i, "name"),
                f'two chips are called "{name}"; give each its own name',
            )
