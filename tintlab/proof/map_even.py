"""How even the glow is over the face, and what would even it out.

Two figures of common practice, least over mean (U_0 of EN 12464-1, which asks for
0.6 to 0.7 at work places; from memory) and contrast (max - min) / (max + min). The
bounds below, which call a face even, are assumed: the eye forgives slow changes.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.inset import Inset
from tintlab.piece import Piece, led_positions, piece_of
from tintlab.proof.face import FaceMap, mapped, xyz_responses
from tintlab.proof.map_stack import parts_of, sampled

Array = NDArray[np.float64]

EVEN = 0.7  # least over mean that passes for even, assumed
SPOT = 1.3  # most over mean above which a spot shows, assumed
STEP = 20  # nm between samples; luminance only
CELLS = 40  # along the longer side
DEEPEST = 6.0  # times the depth, or the longer side, up to which depth is tried
DEPTHS = 14
MOST_TIMES = 16  # LEDs tried, times those there are


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evenness:
    """How even the glow is.

    Attributes
    ----------
    least, most : float
        Over the mean. [-]
    contrast : float
        (max - min) / (max + min). [-]
    hot_spot : bool
        Whether bright spots show over the LEDs.
    showing : bool
        Whether the LEDs themselves show through, which no depth cures.
    relief : bool
        Whether it is the uneven body that makes the face uneven.
    even : bool
        Whether nothing need be done.
    """

    least: float
    most: float
    contrast: float
    hot_spot: bool
    showing: bool
    relief: bool
    even: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Remedy:
    """What would make the face even; None where it would not.

    Attributes
    ----------
    depth : float or None
        Of the box. [mm]
    depth_light : float or None
        Luminance with that depth over that of now. [-]
    leds : int or None
        In all, spread evenly, together as bright as those of now.
    spacing : float or None
        Of these LEDs. [mm]
    """

    depth: float | None = None
    depth_light: float | None = None
    leds: int | None = None
    spacing: float | None = None


def figures(face: FaceMap, *, response: int = 1) -> tuple[float, float, float]:
    """Least and most over mean, and contrast, of one response of a map.

    Of the cells that lie inside by half or more; the mean is over the outline.
    """
    values = face.values[..., response]
    mean = float((values * face.inside).sum() / face.inside.sum())
    within = values[face.inside >= min(0.5, float(face.inside.max()))]
    low, high = float(within.min()), float(within.max())
    if mean <= 0:
        return 1.0, 1.0, 0.0
    return low / mean, high / mean, (high - low) / (high + low)


def evenness_of(inset: Inset, piece: Piece | None = None) -> Evenness | None:
    """Judge how even an inset glows; None without a size and a box behind it."""
    if inset.outline is None or inset.cavity is None:
        return None
    piece = sampled(piece or piece_of(inset), STEP)
    whole = _map(inset, piece)
    least, most, contrast = figures(whole, response=0)
    veiled = _map(inset, piece, images=False)
    showing = bool(
        (whole.values > SPOT * np.maximum(veiled.values, 1e-300)).any()
        and whole.values.max() > 0
    )
    least_without, most_without, _ = figures(veiled, response=0)
    uneven = least_without < EVEN or most_without > SPOT
    relief = uneven and _has_relief(inset) and _passes(_flattened(inset))
    return Evenness(
        least=least,
        most=most,
        contrast=contrast,
        hot_spot=showing or (most_without > SPOT and not relief),
        showing=showing,
        relief=relief,
        even=not (uneven or showing),
    )


def _has_relief(inset: Inset) -> bool:
    return any(layer.relief is not None for layer in inset.layers)


def _flattened(inset: Inset) -> Inset:
    """Return the inset with its bodies at their mean thickness."""
    layers = (replace(layer, relief=None) for layer in inset.layers)
    return replace(inset, layers=tuple(layers))


def _map(inset: Inset, piece: Piece, *, images: bool = True) -> FaceMap:
    """Luminance over the face, coarse; without the images of the LEDs if asked."""
    size = inset.size or (1.0, 1.0)
    Y = xyz_responses()[1:2, ::STEP]
    return mapped(inset, piece, Y, cell=max(size) / CELLS, step=STEP, images=images)


def remedy_of(inset: Inset) -> Remedy:
    """Find the depth of box, or the number of LEDs, that would make the face even.

    The images of the LEDs and the relief of the body are left out: depth and number
    cure neither.
    """
    cavity, outline = inset.cavity, inset.outline
    if cavity is None or outline is None:
        return Remedy()
    flat = _flattened(inset)
    found = Remedy()
    if _passes(flat):
        return found
    now = _mean(flat)
    most = DEEPEST * max(cavity.depth, max(outline.size) / 4)
    depths = np.geomspace(cavity.depth, most, DEPTHS)[1:]
    deep = next((d for d in depths if _passes(_at_depth(flat, d))), None)
    if deep is not None:
        low = max(cavity.depth, deep / (depths[-1] / depths[-2]))
        for _ in range(4):
            middle = (low + deep) / 2
            low, deep = (low, middle) if _passes(_at_depth(flat, middle)) else (
                middle,
                deep,
            )  # fmt: skip
        found = Remedy(
            depth=float(deep), depth_light=_mean(_at_depth(flat, deep)) / now
        )
    for count, spaced in _more_leds(flat):
        if _passes(spaced):
            spacing = float(np.sqrt(outline.area / count))
            return replace(found, leds=count, spacing=spacing)
    return found


def _at_depth(inset: Inset, depth: float) -> Inset:
    if inset.cavity is None:
        raise TypeError("the caller has seen the box")
    return replace(inset, cavity=replace(inset.cavity, depth=float(depth)))


def _more_leds(inset: Inset) -> Iterator[tuple[int, Inset]]:
    """Yield insets with more and more LEDs on an even grid, as bright in all."""
    times = sorted({*np.arange(1.0, 4.1, 0.5), 6.0, 9.0, float(MOST_TIMES)})
    tried = {sum(light.count for light in inset.lights)}
    for factor in times:
        lights = []
        for light in inset.lights:
            count = max(light.count, round(light.count * factor))
            lights.append(
                replace(
                    light,
                    count=count,
                    lumens=light.lumens * light.count / count,
                    pitch=None,
                    positions=(),
                )
            )
        total = sum(light.count for light in lights)
        if factor == 1.0 or total not in tried:
            tried.add(total)
            yield total, replace(inset, lights=tuple(lights))


def _passes(inset: Inset) -> bool:
    piece = sampled(piece_of(inset), STEP)
    least, most, _ = figures(_map(inset, piece, images=False), response=0)
    return least >= EVEN and most <= SPOT


def _mean(inset: Inset) -> float:
    parts = parts_of(sampled(piece_of(inset), STEP), xyz_responses()[1:2, ::STEP])
    return float((parts.scattered_mean + parts.image + parts.recycled).sum())


def led_places(inset: Inset) -> list[Array]:
    """Where the LEDs of each sort sit, shapes (count, 2). [mm]"""
    if inset.outline is None or inset.cavity is None:
        return []
    return [led_positions(light, inset.outline) for light in inset.lights]
