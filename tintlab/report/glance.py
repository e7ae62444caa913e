"""One look without its spread, and the piece as a section: what a live view draws.

`tintlab.report.data.flat` says everything about a prediction, which takes a second with
its spread. `glance` gives the part of it that one look tells at once, under the same
keys; `section` and `curves` give what is drawn beside it.
"""

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab import yardstick
from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_swatch, illuminant, spectrum_to_XYZ
from tintlab.glow import (
    Look,
    face_factor,
    leaked,
    look,
    miss,
    radiance,
    seen,
    solve_piece,
    tint_depths,
)
from tintlab.inset import Coats, Inset, Layer, Light
from tintlab.piece import Piece, led_positions
from tintlab.report.data import exposed
from tintlab.report.words import described
from tintlab.spectrum import WAVELENGTHS
from tintlab.starved import starved_bands

Answer = dict[str, Any]

EVERY = 4  # [nm] between the points of a drawn curve
BODY_SCATTERS = 0.02  # optical depth from which a layer is drawn as cloudy


def look_again(
    inset: Inset, piece: Piece, *, before: tuple[Piece, Look] | None = None
) -> Look:
    """Look at a piece as `tintlab.glow.look` does, sparing what has not changed.

    Parameters
    ----------
    inset : Inset
    piece : Piece
    before : (Piece, Look), optional
        An earlier look. When only dyes, films or the room differ, its undyed light,
        half of the work, is taken from there.
    """
    if before is None or not same_undyed(piece, before[0]):
        return look(inset, piece=piece)
    depths, filters = tint_depths(piece)
    solution = solve_piece(piece, depths)
    lit = radiance(piece, solution, filters) + leaked(piece, filters)
    face = face_factor(piece, solution)
    return seen(inset, inset.room, lit, before[1].undyed, face)


def same_undyed(one: Piece, other: Piece) -> bool:
    """Whether two pieces are the same but for their dyes and films."""
    return len(one.beams) == len(other.beams) and all(
        np.array_equal(a, b)
        for a, b in zip(_undyed_numbers(one), _undyed_numbers(other), strict=False)
    )


def _undyed_numbers(piece: Piece) -> list[ArrayLike]:
    """Everything that the light of the undyed piece is reckoned from."""
    numbers: list[ArrayLike] = [piece.area, piece.back, len(piece.slabs)]
    for slab in piece.slabs:
        numbers += [slab.index, slab.absorbed, slab.scattered, slab.anisotropy]
    for beam in piece.beams:
        numbers += [beam.power, beam.exponent, beam.share, beam.cosines, beam.weights]
    return numbers


def glance(inset: Inset, view: Look) -> Answer:
    """Return what one look tells, with keys and meanings of `data.FIELDS`."""
    target = inset.target
    shown = XYZ_to_swatch(exposed(view.XYZ, target))
    wanted = None if target is None else target.Lab
    gap = miss(inset, view.XYZ)
    exposure = None
    if target is not None and wanted is not None and target.lightness == "free":
        exposure = yardstick.stops(view.XYZ, wanted)
    return {
        "name": inset.name,
        "room": view.room.name,
        "room_illuminance": view.room.illuminance,
        "glow_hex": shown.hex,
        "glow_beyond_srgb": shown.beyond_srgb,
        "glow_words": described(view.Lab),
        "face_hex": XYZ_to_swatch(Lab_to_XYZ(view.face_Lab)).hex,
        "face_words": described(view.face_Lab),
        "target_hex": None
        if wanted is None
        else XYZ_to_swatch(exposed(Lab_to_XYZ(wanted), target)).hex,
        "target_words": None if wanted is None else described(wanted),
        "target_region": target.region.name if target and target.region else None,
        "tolerance": target.tolerance if target else None,
        "lightness": target.lightness if target else None,
        "difference": None if gap is None else float(gap),
        "exposure": exposure,
        "light_kept": view.light_kept,
        "luminance": view.luminance,
        "face_luminance": view.face_luminance,
        "starved": starved_bands(view.undyed, narrowest=15),
    }


def curves(view: Look) -> Answer:
    """Return the spectra of a look over the peak of the undyed one, for drawing."""
    top = float(view.undyed.max())
    return {
        "wavelengths": WAVELENGTHS[::EVERY].tolist(),
        "radiance": (view.radiance[::EVERY] / top).tolist(),
        "undyed": (view.undyed[::EVERY] / top).tolist(),
    }


def section(inset: Inset, piece: Piece) -> Answer:
    """Return the piece from light to viewer: sizes in mm, colours as sRGB, words.

    A layer has the colour of daylight that crosses its dyes and coats once; an LED has
    its own behind its coats.
    """
    depths, filters = tint_depths(piece)
    cavity = inset.cavity
    return {
        "lights": [
            _light(light, beam.power * passed, inset)
            for light, beam, passed in zip(
                inset.lights, piece.beams, filters, strict=True
            )
        ],
        "cavity": None
        if cavity is None
        else {"depth": cavity.depth, "wall": cavity.wall.name},
        "size": inset.size,
        "corners": None
        if inset.outline is None
        else inset.outline.corners.round(3).tolist(),
        "layers": [
            _layer(layer, number, piece, depths)
            for number, layer in enumerate(inset.layers)
        ],
    }


def _light(light: Light, power: NDArray[np.float64], inset: Inset) -> Answer:
    XYZ = spectrum_to_XYZ(power)
    across = (
        led_positions(light, inset.outline)[:, 0] / inset.outline.size[0]
        if inset.outline is not None
        else np.zeros(1)
    )
    return {
        "name": light.emitter.name,
        "count": light.count,
        "lumens": light.lumens,
        "hex": XYZ_to_swatch(XYZ / max(float(XYZ[1]), 1e-30) * 0.6).hex,
        "words": _coats_words(light.coats),
        "across": sorted({round(float(x), 3) for x in across}),
    }


def _layer(
    layer: Layer, number: int, piece: Piece, depths: list[NDArray[np.float64]]
) -> Answer:
    slabs = [i for i, body in enumerate(piece.bodies) if body == number]
    through = np.exp(-np.sum([depths[i] for i in slabs], axis=0))
    light = illuminant("D65")
    XYZ = spectrum_to_XYZ(light * through) / spectrum_to_XYZ(light)[1]
    return {
        "kind": layer.kind,
        "material": _material(layer),
        "thickness": layer.thickness,
        "hex": XYZ_to_swatch(XYZ).hex,
        "tinted": bool(layer.dosed or layer.bathed or layer.coats),
        "cloudy": any(np.max(piece.slabs[i].scattered) > BODY_SCATTERS for i in slabs),
        "words": _contents(layer),
    }


def _material(layer: Layer) -> str:
    if layer.diffuser is not None:
        return layer.diffuser.name
    return "" if layer.medium is None else layer.medium.name


def _contents(layer: Layer) -> str:
    """Say what colours a layer: "4 drops sea blue, 2 drops straw"."""
    said = [f"{dosed.dose} {dosed.colourant.name}" for dosed in layer.dosed]
    said += [f"{b.minutes:g} min {b.colourant.name}" for b in layer.bathed]
    said += [_coats_words(layer.coats)] if layer.coats else []
    return ", ".join(said)


def _coats_words(coats: tuple[Coats, ...]) -> str:
    return ", ".join(
        f"{c.count} coat{'s' * (c.count != 1)} {c.ink.name}" for c in coats
    )


@cache
def rainbow(step: int = 10) -> tuple[tuple[float, str], ...]:
    """Return wavelengths with the colour a screen has for them (decoration only)."""
    found = []
    for i in range(0, WAVELENGTHS.size - step, step):
        band = np.zeros(WAVELENGTHS.size)
        band[i : i + step] = 1.0
        XYZ = spectrum_to_XYZ(band)
        tries = [XYZ_to_swatch(XYZ / XYZ[1] * Y) for Y in (0.5, 0.35, 0.2, 0.13, 0.07)]
        best = min(tries, key=lambda swatch: round(swatch.grey_added, 1))
        found.append((float(WAVELENGTHS[i + step // 2]), best.hex))
    return tuple(found)
