"""The inset file as a whole."""

from dataclasses import replace
from pathlib import Path
from typing import Any

from tintlab import document, units
from tintlab.colourants import Colourant, dyes_of
from tintlab.document import Section
from tintlab.errors import InsetError
from tintlab.inset.fields import find, quantity
from tintlab.inset.layers import read_layer
from tintlab.inset.lights import read_cavity, read_light
from tintlab.inset.outline import read_outline
from tintlab.inset.records import Cavity, Inset, Layer, Light, Outline
from tintlab.inset.relief import with_mean
from tintlab.inset.target import read_target
from tintlab.materials import Material
from tintlab.shelf import Shelf


def read_inset(path: Path, shelf: Shelf, *, text: str | None = None) -> Inset:
    """Read an inset file.

    Parameters
    ----------
    path : Path
    shelf : Shelf
        Where the materials that it names are found.
    text : str, optional
        What the file will say, when that is not saved yet.

    Returns
    -------
    Inset

    Raises
    ------
    InsetError
        With file and line, for everything that is missing, unknown or impossible.
    """
    top = document.read(path, error=InsetError, text=text)
    notes: list[str] = []
    name = top.text("name")
    outline = read_outline(top, path, notes)
    lights = tuple(read_light(s, shelf, outline, notes) for s in top.sections("light"))
    if not lights:
        top.missing("light", "there is no [[light]]")
    cavity = read_cavity(top.section("cavity"), shelf)
    layers = _layers(top, shelf, outline, notes)
    target = read_target(top.section("target"), shelf, path, notes)
    view = top.section("view")
    room, distance = shelf.find("rooms", "dark house"), None
    if view is not None:
        room = find(view, "room", shelf, "rooms", "dark house")
        distance = quantity(view, "distance", units.LENGTHS, "2 m", None)
        view.close()
    for material in _materials(lights, cavity, layers):
        notes += [f"{material.name}: {note}" for note in material.notes]
    seen = top.take("seen", dict, {})
    battery = top.take("battery", dict, {})
    top.take("notes", str, "")
    top.close()
    return Inset(
        name=name,
        path=path,
        size=outline.size if outline else None,
        outline=outline,
        round=outline is not None and outline.kind == "circle",
        lights=lights,
        cavity=cavity,
        layers=layers,
        target=target,
        room=room,
        distance=distance,
        seen=seen,
        battery=battery,
        pictures=_pictures(top.table, path.parent),
        notes=tuple(notes),
    )


def _pictures(table: dict[str, Any], folder: Path) -> tuple[Path, ...]:
    """Every picture that a file without mistakes names."""
    names = [table.get("inset", {}).get("mask")]
    names += [
        layer.get("thickness_map", {}).get("file") for layer in table.get("layer", [])
    ]
    names.append(table.get("target", {}).get("picture", {}).get("file"))
    return tuple(folder / name for name in names if name is not None)


def keep_inputs(inset: Inset, output: Path) -> None:
    """Refuse to write over the inset file or a picture that it names.

    Raises
    ------
    InsetError
    """
    for given in (inset.path, *inset.pictures):
        if output.exists() and given.exists() and output.samefile(given):
            raise InsetError(
                f'asked to write "{output}", from which "{inset.name}" is read; '
                "choose another name"
            )


def _layers(
    top: Section, shelf: Shelf, outline: Outline | None, notes: list[str]
) -> tuple[Layer, ...]:
    """Read every layer; one with a relief gets its mean over the outline."""
    found: list[Layer] = []
    for section in top.sections("layer"):
        layer = read_layer(section, shelf)
        if layer.relief is not None:
            if any(other.relief is not None for other in found):
                section.fail(
                    "thickness_map", "there is a second thickness map; keep one"
                )
            own = with_mean(layer, len(found) + 1, outline)
            notes.append(own.pop("note"))
            layer = replace(layer, **own)
        found.append(layer)
    return tuple(found)


def _materials(
    lights: tuple[Light, ...], cavity: Cavity | None, layers: tuple[Layer, ...]
) -> list[Material]:
    """Every material that an inset names."""
    found: list[Material] = [light.emitter for light in lights]
    coats = [c for light in lights for c in light.coats]
    found += [cavity.wall] if cavity else []
    for layer in layers:
        coats += layer.coats
        found += [m for m in (layer.medium, layer.diffuser) if m is not None]
        found += [dosed.colourant for dosed in layer.dosed]
        found += [bathed.colourant for bathed in layer.bathed]
    found += [c.ink for c in coats]
    whole = {id(m): m for one in found for m in (one, *_inside(one))}
    return list(whole.values())


def _inside(material: Material) -> tuple[Material, ...]:
    return dyes_of(material) if isinstance(material, Colourant) else ()
