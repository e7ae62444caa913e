"""The answer: what it looks like, how sure that is, and what to make of it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tintlab import yardstick
from tintlab.causes import glowing
from tintlab.colorimetry import XYZ_to_Lab, XYZ_to_swatch, spectrum_to_XYZ
from tintlab.colourants import Dye, dyes_of, unmeasured
from tintlab.glow import Look, look, miss, radiance, solve_piece, tint_depths
from tintlab.inset import Dosed, Inset, Layer
from tintlab.materials import Medium, Room
from tintlab.optics import headon_trusted
from tintlab.piece import Piece, Tint, piece_of, thinned
from tintlab.spectrum import WAVELENGTHS
from tintlab.spread import Spread, spread_of

Array = NDArray[np.float64]

CANT_TELL: Final = "can't tell, chip it"
TOO_DIM, ON, NEAR, OFF = "too dim", "on", "near", "off"
SPARE_LIGHT = 1e-3  # of the wanted light that may be missing: less than is printed
ZONES = (0.7, 1.4)  # of the thickness, thin and thick
ZONE_TURN = 8.0  # [deg] of hue between them that is worth a flag


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Flag:
    """Something to know: a short name and a sentence that says what to do."""

    name: str
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prediction:
    """Everything one answer carries.

    Attributes
    ----------
    inset, piece, look, spread
        What was asked, as numbers, as seen, and how sure.
    difference : float or None
        To the target by its yardstick: CIEDE2000, or u'v' to the edge of a region.
    exposure : float or None
        Stops to the common luminance of the policy "free".
    verdict : str
        "" without a target.
    reason : str
        One sentence about the verdict.
    flags : tuple of Flag
    """

    inset: Inset
    piece: Piece
    look: Look
    spread: Spread
    difference: float | None
    exposure: float | None
    verdict: str
    reason: str
    flags: tuple[Flag, ...]


def predict(
    inset: Inset, *, room: Room | None = None, piece: Piece | None = None
) -> Prediction:
    """Predict an inset in its room, with spread, verdict and flags.

    Parameters
    ----------
    inset : Inset
    room : Room, optional
        Instead of the one in the file.
    piece : Piece, optional
        Instead of the piece in the file, when it turned out otherwise.
    """
    piece = piece or piece_of(inset)
    view = look(inset, room=room, piece=piece)
    outcomes = spread_of(inset, piece, view)
    gap = miss(inset, view.XYZ)
    difference = None if gap is None else float(gap)
    verdict, reason = _verdict(inset, piece, view, outcomes, difference)
    target = inset.target
    free = target is not None and target.Lab is not None
    return Prediction(
        inset=inset,
        piece=piece,
        look=view,
        spread=outcomes,
        difference=difference,
        exposure=yardstick.stops(view.XYZ, target.Lab)  # type: ignore[union-attr, arg-type]
        if free and target.lightness == "free"  # type: ignore[union-attr]
        else None,
        verdict=verdict,
        reason=reason,
        flags=tuple(_flags(inset, piece, view)),
    )


def _verdict(
    inset: Inset, piece: Piece, view: Look, outcomes: Spread, difference: float | None
) -> tuple[str, str]:
    """Return the first verdict that holds, and why."""
    target = inset.target
    if target is None or difference is None or outcomes.within is None:
        return "", "no [target] in the file, so there is nothing to compare with"
    cause = next(
        (c for c, s in outcomes.causes if s > 0),
        None,
    )
    sure = outcomes.within
    limit = 0.0 if target.region is not None else target.tolerance
    doubtful = 0.1 < sure < 0.9 or (sure <= 0.1 and difference <= limit)
    near = "inside the region" if target.region is not None else "within tolerance"
    if doubtful and cause is not None and cause.unmeasured:
        return CANT_TELL, (
            f"{sure * 100:.0f} % of the plausible outcomes are {near}, and the "
            f"{cause.label} is the largest cause: a test chip of {cause.name} would "
            "teach most"
        )
    if view.light_kept < target.min_light_kept * (1 - SPARE_LIGHT):
        return TOO_DIM, (
            f"the dyes and films keep {view.light_kept * 100:.0f} % of the light and "
            f"{target.min_light_kept * 100:.0f} % is wanted: less dye, or more light"
        )
    dim = view.luminance is not None and view.face_luminance is not None
    if dim and view.luminance < 3 * view.face_luminance:  # type: ignore[operator]
        return TOO_DIM, (
            f"in {view.room.name} the unlit face alone shows "
            f"{view.face_luminance:.3g} cd/m2, and the glow must add at least twice "
            "that: more LEDs or a darker room"
        )
    inside = target.region is not None
    if inside:
        if difference <= 0 and not glowing(piece):
            return ON, f"inside the region by {-difference:.4f} in u'v'"
        return OFF, f"{difference:.4f} in u'v' outside the region"
    ratio = difference / target.tolerance if target.tolerance else np.inf
    if ratio <= 1:
        if glowing(piece):
            return NEAR, "within tolerance on paper, but this part glows by itself"
        return ON, f"difference {difference:.1f}, tolerance {target.tolerance:g}"
    word = NEAR if ratio <= 2 else OFF
    return word, (
        f"difference {difference:.1f}, tolerance {target.tolerance:g}; before a pour "
        '"tintlab dose", after it "tintlab trim" says what helps'
    )


def _flags(inset: Inset, piece: Piece, view: Look) -> list[Flag]:
    found: list[Flag] = []
    if any(np.max(slab.scattered) > 0.02 for slab in piece.slabs):
        found.append(
            Flag(
                name="scatters",
                sentence="part of the stack scatters: the path in it is longer than "
                "its thickness, which is reckoned with",
            )
        )
    elif any(beam.share * beam.exponent > 0 for beam in piece.beams):
        found.append(
            Flag(
                name="undiffused",
                sentence="nothing scatters: the LEDs are seen as bright spots, and the "
                "colour is their mean; add a diffuser for an even field",
            )
        )
    if not head_on_settled(piece):
        found.append(
            Flag(
                name="brightness unsettled",
                sentence="a weak scatterer before a narrow beam: the colour holds, "
                "the brightness head-on may be 10 to 30 % off",
            )
        )
    if glowing(piece):
        names = ", ".join({piece.tints[i].colourant.name for i in glowing(piece)})
        found.append(
            Flag(
                name="glows by itself",
                sentence=f"{names} holds a fluorescent dye over blue or violet light: "
                "absorption alone does not tell its colour; look at a test chip",
            )
        )
    target = inset.target
    free = target is not None and target.lightness == "free"
    wanted = target.Lab if target is not None and free else None
    shown = XYZ_to_swatch(yardstick.exposed(view.XYZ, wanted))
    if shown.beyond_srgb:
        found.append(
            Flag(
                name="beyond sRGB",
                sentence="a screen cannot show this colour; the swatch has "
                f"{shown.grey_added * 100:.0f} % neutral light of the same luminance "
                "mixed in, which keeps its hue",
            )
        )
    return [*found, *_material_flags(inset, piece), *_zone_flags(inset, piece)]


def _material_flags(inset: Inset, piece: Piece) -> list[Flag]:
    found: dict[tuple[str, str], str] = {}
    for tint in piece.tints:
        if tint.absorbance <= 0:
            continue
        one = tint.colourant
        if unmeasured(one):
            found["no evidence", one.name] = (
                f"the strength of {one.name} is a guess within a factor of "
                f"{getattr(one, 'spread', 3):g}; a test chip would settle it"
            )
        for dye in dyes_of(one):
            if dye.fades == "fast":
                found["fades", one.name] = (
                    f"{one.name} holds a dye that fades fast ({dye.dye_class}): keep "
                    "it from sun and from bright blue LEDs"
                )
            if piece_light_outside(piece, dye):
                found["thin evidence", one.name] = (
                    f"the spectrum of {dye.name} is known from {dye.valid[0]:g} to "
                    f"{dye.valid[1]:g} nm only, and this light has more"
                )
    for layer in inset.layers:
        if layer.medium is None:
            continue
        harmed = layer.medium.cures.get(layer.cure, ())
        for dosed in layer.dosed:
            for dye in dyes_of(dosed.colourant):
                if dye.dye_class in harmed:
                    found["reacts with this cure", dosed.colourant.name] = (
                        f"{dosed.colourant.name} is a {dye.dye_class} dye, which a "
                        f"cure by {layer.cure} may bleach; cast a chip first"
                    )
            if getattr(dosed.colourant, "carrier", "") == "water":
                found["clouds", dosed.colourant.name] = (
                    f"{dosed.colourant.name} is water-based: water clouds epoxy and "
                    "foams polyurethane; use a resin dye"
                )
            alcohol = getattr(dosed.colourant, "carrier", "") == "alcohol"
            if alcohol and layer.cure == "isocyanate":
                found["reacts with this cure", dosed.colourant.name] = (
                    f"{dosed.colourant.name} is carried by alcohol, which takes up "
                    "isocyanate (common practice): it may foam or stay soft; cast a "
                    "chip first, or use a dye in plasticiser"
                )
        found.update(_limit_flags(layer.medium, layer))
    return [Flag(name=key[0], sentence=text) for key, text in found.items()]


def _limit_flags(medium: Medium, layer: Layer) -> dict[tuple[str, str], str]:
    found = {}
    liquid = sum(dosed.per_kg for dosed in layer.dosed) / 1000
    limit, depth = medium.loading_limit, medium.pour_depth
    if limit and liquid > limit:
        found["overloaded", ""] = (
            f"{liquid * 100:.1f} % of liquid colourant in {medium.name}, usual limit "
            f"{limit * 100:g} %: it may stay soft or cloudy"
        )
    if depth and layer.kind == "cast" and layer.thickness > depth:
        found["deep pour", ""] = (
            f"{layer.thickness:g} mm is deeper than the usual single pour of "
            f"{depth:g} mm: pour in layers, it heats up"
        )
    return found


def piece_light_outside(piece: Piece, dye: Dye) -> bool:
    """Whether more than 2 % of the luminous light lies outside a dye's range."""
    low, high = dye.valid
    power = np.asarray(sum(beam.power for beam in piece.beams))
    outside = (low > WAVELENGTHS) | (high < WAVELENGTHS)
    whole = spectrum_to_XYZ(power).sum()
    return bool(spectrum_to_XYZ(np.where(outside, power, 0.0)).sum() > 0.02 * whole)


def _zones(inset: Inset, piece: Piece, tint: Tint) -> tuple[float, float]:
    """Thin and thick zone of the layer of a tint, over its thickness."""
    if not isinstance(tint.origin, Dosed):
        return 1.0, 1.0
    layer = inset.layers[piece.bodies[tint.place[1]]]
    if layer.thin is None and layer.thick is None:
        return ZONES
    thin, thick = layer.thin or layer.thickness, layer.thick or layer.thickness
    return thin / layer.thickness, thick / layer.thickness


def _zone_flags(inset: Inset, piece: Piece) -> list[Flag]:
    """Compare the hue of thin and thick zones of cast layers."""
    factors = [_zones(inset, piece, tint) for tint in piece.tints]
    if not any(low != high for low, high in factors):
        return []
    hues = []
    for zone in (0, 1):
        curves = [
            tint.absorbance * tint.shape * factor[zone]
            for tint, factor in zip(piece.tints, factors, strict=True)
        ]
        depths, filters = tint_depths(piece, curves)
        lit = spectrum_to_XYZ(radiance(piece, solve_piece(piece, depths), filters))
        Lab = XYZ_to_Lab(yardstick.scaled(lit, 0.4))
        if np.hypot(*Lab[1:]) < 10:
            return []
        hues.append(np.degrees(np.arctan2(Lab[2], Lab[1])))
    turn = abs((hues[1] - hues[0] + 180) % 360 - 180)
    if turn < ZONE_TURN:
        return []
    return [
        Flag(
            name="thick/thin zones",
            sentence=f"hue turns by {turn:.0f} degrees between "
            f"{min(low for low, _ in factors):.2g} and "
            f"{max(high for _, high in factors):.2g} of the thickness: keep the depth "
            "even",
        )
    ]


def head_on_settled(piece: Piece) -> bool:
    """Whether brightness has settled at 10 streams, checked every 40 nm."""
    if not any(np.any(slab.scattered) for slab in piece.slabs):
        return True
    coarse = thinned(piece, 40)
    return all(
        bool(headon_trusted(coarse.slabs, light=(b.cosines, b.weights)).all())
        for b in piece.beams
    )
