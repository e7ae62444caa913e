"""The shelf: finds a material by name, reads its TOML file and checks it.

The shipped shelf lies in the package `tintlab.spectra`; a maker's own folders, laid
out alike (`bottles/`, `inks/`, ...), are looked at first. Only the files that are
asked for are read, because a prediction should not wait for a hundred others.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from numpy.typing import NDArray

from tintlab import colorimetry, document
from tintlab.colorimetry import ILLUMINANT_KEYS
from tintlab.colourants import DYE_CLASSES, GRADES, Bottle, Dye, Ink, dye_shape
from tintlab.document import Section
from tintlab.errors import ShelfError, TintlabError
from tintlab.materials import (
    Diffuser,
    Emitter,
    Material,
    Medium,
    Region,
    Room,
    Wall,
    abbe_index,
    lobes_power,
    sellmeier_index,
)
from tintlab.spectrum import STEP, WAVELENGTHS, Source

Array = NDArray[np.float64]

SOURCE_KINDS = (
    *("measured", "published", "fitted", "digitised", "learned"),
    *("memory", "assumed"),
)


LONGEST = 100  # [characters] of a file stem; file systems end at 255 bytes
MOST = 1e12  # of any number in a table; more is a slip, and squares would overflow


@cache
def shipped() -> Path:
    """Return the folder of the shipped shelf."""
    return Path(str(resources.files("tintlab.spectra")))


def slug(name: str) -> str:
    """Return the file stem that belongs to a name.

    Examples
    --------
    >>> slug("White 4100 K")
    'white-4100-k'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Folders with materials, the maker's own first.

    Attributes
    ----------
    folders : tuple of Path
        Looked through in this order; the shipped shelf comes last.
    """

    folders: tuple[Path, ...]

    def find(self, kind: str, name: str) -> Any:
        """Return the material of a kind by its name or alias.

        Parameters
        ----------
        kind : str
            A folder name: "emitters", "dyes", "inks", "bottles", "media", "walls",
            "diffusers", "rooms" or "targets".
        name : str
            Case does not matter.

        Raises
        ------
        ShelfError
            When nothing has that name, with the nearest names.
        """
        for folder in self.folders:
            path = folder / kind / f"{slug(name)[:LONGEST]}.toml"
            if slug(name) and path.is_file():
                return self.read(kind, path)
        for path in self.files(kind):
            if name.lower() in _aliases(path):
                return self.read(kind, path)
        have = self.names(kind)
        raise ShelfError(
            f'asked for "{name}" among the {kind}; '
            f"{document.nearest(name, have) or 'nothing on the shelf is alike. '}"
            f'"tintlab shelf list {kind}" names the {len(have)} that we have'
        )

    def read(self, kind: str, path: Path) -> Any:
        """Read one file of a kind."""
        section = document.read(path, error=ShelfError)
        material = _READERS[kind](section, self)
        section.close()
        return replace(material, notes=tuple(section.document.notes))

    def files(self, kind: str) -> Iterator[Path]:
        """Yield the files of a kind; of two with one name the maker's own counts."""
        seen = set()
        for folder in self.folders:
            for path in sorted((folder / kind).glob("*.toml")):
                if path.stem not in seen:
                    seen.add(path.stem)
                    yield path

    def names(self, kind: str) -> list[str]:
        """List the names of a kind."""
        heads = [(_head(path).get("name"), path.stem) for path in self.files(kind)]
        return [name if isinstance(name, str) else stem for name, stem in heads]

    def own_first(self, kind: str, *, every: bool = False) -> list[Any]:
        """Read the maker's own materials; the shipped ones too if there are none."""
        own = [p for p in self.files(kind) if not p.is_relative_to(shipped())]
        chosen = own if own and not every else list(self.files(kind))
        return [self.read(kind, path) for path in chosen]

    def all(self, kind: str) -> list[Any]:
        """Read every material of a kind."""
        return [self.read(kind, path) for path in self.files(kind)]


KINDS = (
    *("emitters", "dyes", "inks", "bottles", "media"),
    *("walls", "diffusers", "rooms", "targets"),
)


def open_shelf(*folders: Path | None) -> Shelf:
    """Return a shelf of the maker's folders that exist, and the shipped one.

    Raises
    ------
    ShelfError
        When a folder has none of the sub-folders of a shelf.
    """
    own = []
    for folder in folders:
        if folder is None:
            continue
        if not any((folder / kind).is_dir() for kind in KINDS):
            raise ShelfError(
                f'asked for the shelf "{folder}", which has none of the folders '
                f"{', '.join(KINDS)}; make one, for example bottles/"
            )
        own.append(folder)
    return Shelf(folders=(*own, shipped()))


def shelf_for(inset_file: Path | None = None, own: tuple[Path, ...] = ()) -> Shelf:
    """Return the shelf that belongs to an inset file.

    Looked through in this order: the folders given, `shelf/` beside the file, the
    folder `shelf` in the platform's user-data folder, the shipped shelf.

    Parameters
    ----------
    inset_file : Path, optional
    own : tuple of Path
        Folders that the maker names; they must exist.
    """
    beside = inset_file.parent / "shelf" if inset_file else None
    user = Path(platformdirs.user_data_dir("tintlab")) / "shelf"
    for folder in own:
        if not folder.is_dir():
            raise ShelfError(
                f'asked for the shelf "{folder}", which is no folder; check its name'
            )
    found = [f for f in (beside, user) if f is not None and f.is_dir()]
    return open_shelf(*own, *found)


def _head(path: Path) -> dict[str, Any]:
    return document.read(path, error=ShelfError).table


def _aliases(path: Path) -> list[str]:
    head = _head(path)
    aliases = head.get("aliases")
    names = [head.get("name"), *(aliases if isinstance(aliases, list) else [])]
    return [name.lower() for name in names if isinstance(name, str)]


def _common(section: Section) -> dict[str, Any]:
    """Read the name and the source, which every file has."""
    name = section.text("name")
    section.texts("aliases", [])
    source = section.section("source")
    if source is None:
        section.missing("source", f'"{name}" has no [source]')
    record = Source(
        citation=source.text("citation"),
        kind=source.choice("kind", SOURCE_KINDS),
        **{
            key: source.text(key, "")
            for key in ("where", "licence", "conditions", "uncertainty", "note")
        },
    )
    source.close()
    return {"name": name, "source": record, "path": str(section.document.path)}


def _need(section: Section, key: str) -> Section:
    inner = section.section(key)
    if inner is None:
        section.missing(key, f"[{key}] is missing")
    return inner


def table(section: Section, columns: tuple[str, ...]) -> Array:
    """Read a block of numbers whose columns are named with their units.

    Returns
    -------
    ndarray, shape (n_rows, n_columns)

    Raises
    ------
    ShelfError
        Naming the row: another number of columns, no number, not finite.
    """
    named = section.take("columns", list)
    if tuple(named) != columns:
        wanted = ", ".join(f'"{column}"' for column in columns)
        section.fail("columns", f"columns = {document.shown(named)}; write [{wanted}]")
    text, rows = section.text("table"), []
    below = _first_row(section, text)
    for offset, line in enumerate(text.splitlines()):
        if not line.strip():
            continue
        try:
            row = [float(cell) for cell in line.split()]
        except ValueError:
            row = []
        if len(row) != len(columns) or not all(abs(number) <= MOST for number in row):
            section.fail(
                "table",
                f'the row "{line.strip()}" should be {len(columns)} numbers: '
                f"{', '.join(columns)}",
                below=below + offset,
            )
        rows.append(row)
    if not rows:
        section.fail("table", "the table is empty; add rows of numbers")
    return np.array(rows)


def _first_row(section: Section, text: str) -> int:
    """Count the lines from `table =` to the first row; TOML drops a leading newline."""
    start = section.document.line_of((*section.trail, "table"))
    line = section.document.text.split("\n")[start - 1]
    return int(line.rstrip().endswith(('"""', "'''")) and "\n" in text)


def _on_grid(section: Section, column: str, quantity: str) -> Array:
    """Read a spectrum, from the file itself or from a measured file beside it.

    A short table of a smooth material is joined by a monotone line between its rows;
    measured files are interpolated cubically by `tintlab.measured`.
    """
    if section.has("file"):
        from tintlab import measured  # noqa: PLC0415  scipy, for this only

        path = section.document.path.parent / section.text("file")
        edges = section.choice("edges", ("refuse", "hold"), "refuse")
        try:
            found = measured.read_measured(path, expected=quantity)
            values, notes = measured.to_grid(found, quantity=quantity, edges=edges)
        except TintlabError as problem:
            section.fail("file", str(problem))
        section.document.notes.extend(notes)
        return values
    wavelengths, values = table(section, ("wavelength [nm]", column)).T
    if not (np.diff(wavelengths) > 0).all():
        section.fail("table", "wavelengths must rise from row to row; sort the rows")
    if wavelengths[0] > WAVELENGTHS[0] or wavelengths[-1] < WAVELENGTHS[-1]:
        section.fail(
            "table",
            f"the table covers {wavelengths[0]:g}-{wavelengths[-1]:g} nm; 380-780 nm "
            "are needed; add the missing end",
        )
    if (values < 0).any() or (quantity != "power" and (values > 5).any()):
        section.fail(
            "table",
            f"{column} goes from {values.min():g} to {values.max():g}, which cannot "
            "be; percent is written as a ratio, 20 % as 0.2",
        )
    return np.interp(WAVELENGTHS, wavelengths, values)


def _pair(section: Section, key: str, default: Any) -> Any:
    values = section.numbers(key, 2, default)
    return None if values is None else (values[0], values[1])


def _range(section: Section, key: str, default: list[float]) -> tuple[float, float]:
    low, high = section.numbers(key, 2, default)
    if not 0 <= low <= high:
        section.fail(key, f"{key} = [{low:g}, {high:g}]; give the lower number first")
    return low, high


def _second(shape: Section) -> tuple[float, float] | None:
    """Read wavelength [nm] and height [-] of a second maximum."""
    values = shape.numbers("second", 2, None)
    if values is None:
        return None
    if not (200 <= values[0] <= 1100 and 0 <= values[1] <= 10):
        shape.fail("second", f"second = {values}; give nm and height, [420, 0.3]")
    return values[0], values[1]


def _emitter(section: Section, _: Shelf) -> Emitter:
    common, inner = _common(section), _need(section, "emitter")
    model = inner.choice("model", ("cie", "lobes", "table"))
    lobes, data = np.empty((0, 5)), section.section("data")
    inner.has("key")
    if model == "cie":
        power = colorimetry.illuminant(inner.choice("key", ILLUMINANT_KEYS))
    elif data is None:
        section.missing("data", "[data] with the spectrum is missing")
    elif model == "lobes":
        columns = ("peak [nm]", "width [nm]", "power [-]", "shift [nm/K]")
        lobes = table(data, (*columns, "change [1/K]"))
        if (lobes[:, 1] < STEP).any() or (lobes[:, 2] < 0).any():
            data.fail("table", "a lobe is narrower than 1 nm or has negative power")
        power = lobes_power(lobes)
    else:
        power = _on_grid(data, "power [1/nm]", "power")
    if data is not None:
        data.close()
    if not (power > 0).any():
        section.fail("data", "this light has no power within 380-780 nm")
    emitter = Emitter(
        **common,
        kind=inner.choice("kind", ("white", "single colour", "mixed")),
        power=power,
        lobes=lobes,
        steps=inner.number("steps", 0.0, low=0, high=100),
        peak_spread=inner.number("peak_spread", 0.0, low=0, high=100),
        beam=inner.number("beam", 120.0, low=1, high=179),
        reference_temperature=inner.number(
            "reference_temperature", 25.0, low=-60, high=200
        ),
        forward_voltage=inner.number("forward_voltage", 3.0, low=0.5, high=100),
        efficacy=inner.number("efficacy", None, low=0, high=683),
        colour_temperature=inner.number("colour_temperature", None, low=1000, high=1e6),
        caution=inner.text("caution", ""),
    )
    inner.close()
    return emitter


def _bands(shape: Section) -> Array:
    bands = table(shape, ("centre [nm]", "height [-]", "width [1/cm]"))
    centre, height, width = bands.T
    if (centre < 200).any() or (centre > 1100).any() or (width < 10).any():
        shape.fail("table", "a band has its centre at 200-1100 nm, and 10 1/cm or more")
    if (height < 0).any() or not (height > 0).any():
        shape.fail("table", "band heights are not negative, and one is more than zero")
    return bands


def _dye(section: Section, _: Shelf) -> Dye:
    common, inner = _common(section), _need(section, "dye")
    strength, shape = _need(section, "strength"), _need(section, "shape")
    form = shape.choice("form", ("bands", "log-normal", "table"))
    bands, tabled = np.empty((0, 3)), np.empty(0)
    if form == "bands":
        bands = _bands(shape)
    elif form == "table":
        tabled = _on_grid(shape, "absorbance [-]", "absorbance")
        if not tabled.max() > 0:
            shape.fail("table", "this dye absorbs nothing within 380-780 nm")
        tabled = tabled / tabled.max()
    dye = Dye(
        **common,
        dye_class=inner.choice("class", DYE_CLASSES),
        hue=inner.text("hue"),
        uses=tuple(inner.texts("uses")),
        fluoresces=inner.take("fluoresces", bool, False),
        fades=inner.choice("fades", ("slow", "medium", "fast"), "medium"),
        caution=inner.text("caution", ""),
        colour_index=inner.text("colour_index", ""),
        number=inner.text("colour_index_number", ""),
        peak=strength.number("peak", low=200, high=1100),
        molar_absorptivity=strength.number("molar_absorptivity", None, low=1, high=1e7),
        molar_mass=strength.number("molar_mass", None, low=1, high=1e6),
        specific_absorbance=strength.number(
            "specific_absorbance", None, low=0.1, high=1e6
        ),
        strength_spread=strength.number("spread", 3.0, low=1, high=1000),
        form=form,
        bands=bands,
        tabled=tabled,
        valid=_range(shape, "valid", [380, 780]),
        width=shape.number("width", 3000.0, low=10, high=20_000),
        skew=shape.number("skew", 1.3, low=0.2, high=6),
        floor=shape.number("floor", 0.0, low=0, high=1),
        second=_second(shape),
        shift=shape.number("shift", 5.0, low=0, high=200),
        broadening=shape.number("broadening", 1.2, low=1, high=10),
        delta_e=shape.number("delta_e", 5.0, low=0, high=100),
    )
    for part in (inner, strength, shape):
        part.close()
    with np.errstate(all="ignore"):  # what is no shape is refused here
        if not dye_shape(dye).max() >= 1e-3:
            shape.fail("form", "this dye absorbs next to nothing within 380-780 nm")
    return dye


def _dyes(section: Section, shelf: Shelf) -> tuple[tuple[Dye, float], ...]:
    found = []
    for part in section.sections("dye"):
        name, share = part.text("name"), part.number("share", 1.0, low=0, high=1e3)
        part.close()
        try:
            found.append((shelf.find("dyes", name), share))
        except ShelfError as problem:
            part.fail("name", str(problem))
    if not found:
        section.missing("dye", "[[dye]] is missing, a dye of the shelf")
    if not sum(share for _, share in found) > 0:
        section.fail("dye", "every share of the dyes is 0; give one more than that")
    return tuple(found)


def _learned(section: Section, inner: Section) -> dict[str, Any]:
    """Read what chips taught; `tintlab.chips.keep` wrote it and reads the rest."""
    section.take("evidence", list, [])
    section.take("label", dict, {})
    shift, width = _pair(inner, "shift", None), _pair(inner, "width", None)
    if shift is not None and not (abs(shift[0]) <= 100 and 0 <= shift[1] <= 200):
        inner.fail("shift", "shift takes [nm, deviation in nm], within 100 and 200 nm")
    if width is not None and not (0.2 <= width[0] <= 5 and 1 <= width[1] <= 10):
        inner.fail("width", "width takes [0.2 to 5, 5-95 % factor of 1 to 10]")
    return {"shift": shift, "width": width}


def _bottle(section: Section, shelf: Shelf) -> Bottle:
    common, inner = _common(section), _need(section, "bottle")
    dyes = _dyes(section, shelf)
    bottle = Bottle(
        **common,
        **_learned(section, inner),
        dyes=dyes,
        hue=inner.text("hue"),
        grade=inner.choice("grade", GRADES, "label-only"),
        strength=inner.number("strength", low=0, high=1e6),
        spread=inner.number("spread", 3.0, low=1, high=1000),
        density=inner.number("density", 0.9, low=0.3, high=3),
        drop=inner.number("drop", 0.025, low=0.0005, high=0.5),
        drop_spread=inner.number("drop_spread", 1.3, low=1, high=100),
        carrier=inner.text("carrier", ""),
        lot=inner.text("lot", ""),
        date=inner.text("date", ""),
        caution=inner.text("caution", ""),
        bath_rate=inner.number("bath_rate", 0.1, low=0, high=100),
        bath_saturation=inner.number("bath_saturation", 4.0, low=0.01, high=1000),
    )
    inner.close()
    return bottle


def _ink(section: Section, shelf: Shelf) -> Ink:
    common, inner = _common(section), _need(section, "ink")
    ink = Ink(
        **common,
        **_learned(section, inner),
        dyes=_dyes(section, shelf),
        hue=inner.text("hue"),
        grade=inner.choice("grade", GRADES, "label-only"),
        peak_absorbance=inner.number("peak_absorbance", low=0, high=100),
        spread=inner.number("spread", 2.5, low=1, high=1000),
        gain=inner.number("gain", 0.8, low=0, high=2),
        unevenness=inner.number("unevenness", 0.3, low=0, high=1),
        broadening=inner.number("broadening", 1.0, low=0.2, high=5),
        caution=inner.text("caution", ""),
    )
    inner.close()
    return ink


def _sellmeier(index: Section) -> Array:
    B, C = index.numbers("B", None), index.numbers("C", None)
    if len(B) != len(C) or not B:
        index.fail(
            "C", f"B has {len(B)} terms and C has {len(C)}; give as many of each"
        )
    low, high = (WAVELENGTHS[[0, -1]] / 1000) ** 2
    if any(low <= term <= high for term in C):
        index.fail("C", "a term of C lies within 380-780 nm; it is in um2, as in 0.01")
    with np.errstate(all="ignore"):  # what is no index is refused below
        n = sellmeier_index(B=B, C=C)
    if not ((n >= 1) & (n <= 4)).all():
        index.fail("B", "these terms give no index of 1 to 4 within 380-780 nm")
    return n


def _cures(section: Section) -> dict[str, tuple[str, ...]]:
    found = {cure: section.texts(cure) for cure in section.table}
    for cure, classes in found.items():
        for name in classes:
            if name not in DYE_CLASSES:
                near = document.nearest(name, DYE_CLASSES)
                known = ", ".join(DYE_CLASSES)
                section.fail(
                    cure, f'"{name}" is no class of dyes; {near}classes: {known}'
                )
    return {cure: tuple(classes) for cure, classes in found.items()}


def _medium(section: Section, _: Shelf) -> Medium:
    common, inner = _common(section), _need(section, "medium")
    index, absorption = _need(section, "index"), _need(section, "absorption")
    if index.choice("form", ("sellmeier", "abbe")) == "sellmeier":
        n = _sellmeier(index)
    else:
        n = abbe_index(
            d=index.number("d", low=1.2, high=2.5),
            abbe=index.number("abbe", low=10, high=120),
        )
    cures = section.section("cures")
    medium = Medium(
        **common,
        kind=inner.choice("kind", ("cast", "sheet", "both")),
        index=n,
        absorption=_internal(absorption, n),
        density=inner.number("density", low=0.5, high=4),
        haze=inner.number("haze", 0.0, low=0, high=1),
        scattering=inner.number("scattering", 0.0, low=0, high=1e4),
        anisotropy=inner.number("anisotropy", 0.9, low=-0.99, high=0.99),
        thickness=_range(inner, "thickness", [1, 25]),
        bath_limit=inner.number("bath_limit", None, low=-50, high=500),
        loading_limit=inner.number("loading_limit", None, low=0, high=1),
        pour_depth=inner.number("pour_depth", None, low=0, high=1e4),
        caution=inner.text("caution", ""),
        cures={} if cures is None else _cures(cures),
    )
    for part in (inner, index, absorption):
        part.close()
    return medium


def _internal(section: Section, index: Array) -> Array:
    """Read the decadic absorbance per mm of a medium, its faces left out.

    A spectrometer's transmittance of a clear plate is taken with both faces on; its
    file needs the `thickness` of the plate. [mm]
    """
    if "file" not in section.table:
        return _on_grid(section, "absorbance per mm [-]", "absorbance")
    from tintlab import measured  # noqa: PLC0415  scipy, for this only

    thickness = section.number("thickness", low=0.01, high=1e3)
    passed = _on_grid(section, "", "transmittance")
    inside = measured.internal_transmittance(passed, index=index)
    section.document.notes.append(
        f"the faces of a {thickness:g} mm plate were taken off its transmittance"
    )
    return -np.log10(np.clip(inside, 1e-6, 1.0)) / thickness


def _wall(section: Section, _: Shelf) -> Wall:
    common, inner, data = (
        _common(section),
        _need(section, "wall"),
        _need(section, "data"),
    )
    wall = Wall(
        **common,
        finish=inner.text("finish", "matt"),
        reflectance=_on_grid(data, "reflectance [-]", "reflectance"),
    )
    inner.close()
    data.close()
    if wall.reflectance.max() > 1:
        section.fail("data", "a reflectance above 1; percent is written as a ratio")
    return wall


def _diffuser(section: Section, _: Shelf) -> Diffuser:
    common, inner = _common(section), _need(section, "diffuser")
    diffuser = Diffuser(
        **common,
        index=inner.number("index", low=1, high=2.5),
        thickness=inner.number("thickness", low=0, high=1e3),
        scattering=inner.number("scattering", low=0, high=1e4),
        anisotropy=inner.number("anisotropy", low=-0.99, high=0.99),
        absorption=inner.number("absorption", low=0, high=1e4),
    )
    inner.close()
    return diffuser


def _room(section: Section, _: Shelf) -> Room:
    common, inner = _common(section), _need(section, "room")
    white = inner.choice("white", ILLUMINANT_KEYS)
    room = Room(
        **common,
        illuminance=inner.number("illuminance", low=0, high=2e5),
        power=colorimetry.illuminant(white),
        white=white,
        surround=inner.choice("surround", ("dark", "dim", "average"), "average"),
    )
    inner.text("note", "")
    inner.close()
    return room


def _region(section: Section, _: Shelf) -> Region:
    common, inner = _common(section), _need(section, "region")
    corners = table(inner, ("x [-]", "y [-]"))
    if len(corners) < 3 or (corners < 0).any() or (corners.sum(axis=1) > 1).any():
        inner.fail("table", "a region has three corners or more, x + y up to 1 in each")
    region = Region(**common, corners=corners)
    inner.close()
    return region


_READERS: dict[str, Callable[[Section, Shelf], Material]] = {
    "emitters": _emitter,
    "dyes": _dye,
    "inks": _ink,
    "bottles": _bottle,
    "media": _medium,
    "walls": _wall,
    "diffusers": _diffuser,
    "rooms": _room,
    "targets": _region,
}
