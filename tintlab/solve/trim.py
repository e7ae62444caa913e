"""The smallest correction of a finished piece: coats of ink, another LED, another pour.

Every combination of up to three inks, 0 to 6 coats each, is covered on one side. Coats
on the LEDs multiply their light, so the product is exact. Coats on the viewer's face
are crossed again by light that bounces, so the product is a bound and every survivor
is scored by the true stack (`tintlab.solve.combine` proves that none is left out).
Coats of one ink are uneven together; those of two inks are taken as independent.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab import yardstick
from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.colourants import Ink, shape_of
from tintlab.errors import InsetError
from tintlab.glow import Look, leaked, look, miss, tint_depths, with_veil
from tintlab.inset import Coats, Inset, Light
from tintlab.materials import Emitter, emitter_power
from tintlab.optics import Slab, coats_absorbance, uneven_transmittance
from tintlab.piece import FILM_INDEX, Piece, Tint
from tintlab.solve.combine import combine
from tintlab.solve.front import Answer, Choice, Combination
from tintlab.solve.reach import Reach, reach
from tintlab.solve.response import Response, response_of

Array = NDArray[np.float64]

MOST_COATS = 6
MOST_INKS = 3
SIDES = ("led", "viewer")
SPARE = 1e-6  # relative room left for the spline in the bounds of the viewer's side


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fix:
    """The best coats on one side of one piece.

    Attributes
    ----------
    side : str
        "led" or "viewer".
    emitter : str
        Name of another LED, or "" for the LEDs that are there.
    inks : tuple of Ink
        Those looked at.
    piece : Piece
        What the coats are put on.
    before : Look
        The piece as it is, with its own LEDs.
    bare : Look
        The piece before any new coat; with another LED it differs from `before`.
    answer : Answer
        From the search; light kept is against the undyed piece.
    choice : Choice
        The one to take: fewest coats within tolerance, else the nearest.
    """

    side: str
    emitter: str
    inks: tuple[Ink, ...]
    piece: Piece
    before: Look
    bare: Look
    answer: Answer
    choice: Choice

    def coated(self) -> Piece:
        """Return the piece with the coats of `choice` on it."""
        return with_coats(self.piece, self.inks, self.choice.combination, self.side)

    def against_now(self, choice: Choice) -> float:
        """Light of a choice over that of the piece as it is now. [-]"""
        scale = _anchor(self.bare) / _anchor(self.before)
        return choice.light_kept * scale / self.before.light_kept


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Trim:
    """Every way that was weighed.

    Attributes
    ----------
    difference : float
        Of the piece as it is.
    fixes : tuple of Fix
        Coats on the LEDs, coats on the viewer's face, then other LEDs.
    left : Reach
        What any film at all could still do on this piece.
    """

    difference: float
    fixes: tuple[Fix, ...]
    left: Reach | None


def trim(
    inset: Inset,
    piece: Piece,
    inks: Sequence[Ink],
    *,
    emitters: Sequence[Emitter] = (),
    sides: Sequence[str] = SIDES,
    most_inks: int = MOST_INKS,
    most_coats: int = MOST_COATS,
    progress: Callable[[str], None] | None = None,
) -> Trim:
    """Find the least correction of a piece.

    Parameters
    ----------
    inset : Inset
        With its target.
    piece : Piece
        The piece as it is, which may differ from what was planned.
    inks : sequence of Ink
    emitters : sequence of Emitter
        Other LEDs to try, each in place of all LEDs, at its own stated light.
    sides : sequence of str
        Of `SIDES`.
    most_inks, most_coats : int
        Different inks in one combination, and coats of each.
    progress : callable, optional
        Called with a short text.

    Raises
    ------
    InsetError
        Without a target or without an ink.
    """
    target = inset.target
    if target is None:
        raise InsetError(
            f'"{inset.name}" has no [target]; a trim is found for a colour that is '
            "wanted: add lab, hex, picture or region"
        )
    if not inks:
        raise InsetError(
            "there is no ink to choose from; name some with --ink, or put your own "
            "into shelf/inks/"
        )
    say = progress or (lambda _: None)
    now = look(inset, piece=piece)
    fixes = []
    for side in sides:
        say(f"coats on the {'LEDs' if side == 'led' else 'face'}")
        fixes.append(_fix(inset, piece, inks, side, now, most_inks, most_coats))
    for emitter in emitters:
        say(f"LED {emitter.name}")
        other = with_emitter(piece, emitter)
        found = _fix(inset, other, inks, "led", now, most_inks, most_coats)
        fixes.append(replace(found, emitter=emitter.name))
    say("what no film can do")
    gap = miss(inset, now.XYZ)
    return Trim(
        difference=float("nan") if gap is None else float(gap),
        fixes=tuple(fixes),
        left=None if target.Lab is None else _what_is_left(inset, now),
    )


def _what_is_left(inset: Inset, now: Look) -> Reach:
    """Limit of any film on the piece as it is; shares are of what it sends out now.

    Room light that the face sends back counts as light that films may take away, so
    that the limit holds for films on either side.
    """
    target = inset.target
    if target is None or target.Lab is None:
        raise InsetError("the target has no colour")
    power = with_veil(inset, now.room, now.radiance, now.face)
    Y, anchor = float(spectrum_to_XYZ(power)[1]), _anchor(now)
    least = np.clip(target.min_light_kept * anchor / Y, 0.02, 1.0)
    return reach(
        power,
        target.Lab,
        light_kept=np.geomspace(least, 1.0, 16),
        lightness=target.lightness,
        level=Y / anchor,
    )


def _anchor(seen: Look) -> float:
    return float(spectrum_to_XYZ(seen.undyed)[1])


def _fix(
    inset: Inset,
    piece: Piece,
    inks: Sequence[Ink],
    side: str,
    before: Look,
    most_inks: int,
    most_coats: int,
) -> Fix:
    """Search one side of one piece."""
    target = inset.target
    if target is None:
        raise InsetError("a trim needs a target")
    bare = look(inset, piece=piece)
    # a piece that is too dim already is trimmed for colour alone
    least = target.min_light_kept if bare.light_kept >= target.min_light_kept else 0.0
    usable = [ink for ink in inks if side == "viewer" or _same_everywhere(piece, ink)]
    films = (
        np.stack([_transmittances(piece, ink, side, most_coats) for ink in usable])
        if usable
        else np.ones((0, most_coats, bare.radiance.size))
    )
    question = _Question(bare, films) if side == "led" else _viewer(piece, bare, films)
    region = target.region
    answer = combine(
        question.power,
        films,
        target.Lab if region is None else None,
        most_inks=most_inks,
        floor=question.floor,
        exact=question.exact,
        lightness=target.lightness,
        veil=question.veil,
        min_light_kept=least,
        distance=None
        if region is None
        else lambda XYZ: yardstick.region_distance(XYZ, region.corners),
    )
    tolerance = target.tolerance if region is None else 0.0
    return Fix(
        side=side,
        emitter="",
        inks=tuple(usable),
        piece=piece,
        before=before,
        bare=bare,
        answer=answer,
        choice=_choice(answer, tolerance),
    )


def _choice(answer: Answer, tolerance: float) -> Choice:
    """Fewest coats within tolerance, then most light; else the nearest of all."""
    good = [c for c in answer.front if c.difference <= tolerance]
    if not good:
        return answer.best
    return min(good, key=lambda c: (c.coats, -c.light_kept, c.difference))


@dataclass(slots=True, eq=False)
class _Question:
    """Coats on the LEDs: the product is exact, the veil stays."""

    bare: Look
    films: Array

    @property
    def power(self) -> Array:
        return np.asarray(self.bare.radiance / _anchor(self.bare))

    @property
    def veil(self) -> Array | None:
        return self.bare.veil

    floor: Array | None = None
    exact: Callable[[list[Combination]], Array] | None = None


@dataclass(slots=True, eq=False)
class _Viewed:
    """Coats on the face: glow and veil both pass them; the product is a bound."""

    power: Array
    floor: Array
    exact: Callable[[list[Combination]], Array]
    veil: Array | None = None


def _viewer(piece: Piece, bare: Look, films: Array) -> _Viewed:
    filmed, slab = with_face_film(piece)
    response = response_of(filmed, slab)
    anchor = _anchor(bare)
    room = bare.room
    per_lux = room.power / spectrum_to_XYZ(room.power)[1]
    shone = per_lux * room.illuminance / np.pi / MAXIMUM_EFFICACY
    shone = shone * (bare.veil[1] > 0)
    leak = leaked(piece, tint_depths(piece)[1])

    def spectra(depth: Array) -> tuple[Array, Array]:
        lit = response.radiance(depth) + leak * np.exp(-depth)
        lit = lit / anchor
        return lit, response.face_factor(depth) * shone / anchor

    lit, veil = spectra(np.zeros(films.shape[-1]))
    power = (lit + veil) * (1 + SPARE)
    exact = _scorer(spectra, -np.log(np.maximum(films, 1e-13)))
    return _Viewed(power=power, floor=_floor(response, spectra, power), exact=exact)


def _scorer(
    spectra: Callable[[Array], tuple[Array, Array]], depths: Array
) -> Callable[[list[Combination]], Array]:
    """Score combinations by the true stack: X, Y, Z with veil, and Y without."""

    def exact(combinations: list[Combination]) -> Array:
        depth = np.zeros((len(combinations), depths.shape[-1]))
        for row, combination in enumerate(combinations):
            for ink, coats in combination:
                depth[row] += depths[ink, coats - 1]
        lit, veil = spectra(depth)
        glow = spectrum_to_XYZ(lit)
        return np.column_stack([glow + spectrum_to_XYZ(veil), glow[:, 1]])

    return exact


def _floor(
    response: Response,
    spectra: Callable[[Array], tuple[Array, Array]],
    power: Array,
) -> Array:
    """Least of (lit + veil) e^tau over that without film, at any depth."""
    between = (response.nodes[1:] + response.nodes[:-1]) / 2
    least = np.full(power.shape, np.inf)
    for depth in np.sort(np.concatenate([response.nodes, between])):
        lit, veil = spectra(np.full(power.shape, depth))
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = (lit + veil) * np.exp(depth) / power
        least = np.minimum(least, np.where(power > 0, ratio, 1.0))
    return np.clip(least * (1 - 100 * SPARE), 0.0, 1.0)


def with_face_film(piece: Piece) -> tuple[Piece, int]:
    """Add an empty film in contact with the viewer's face; return its slab too."""
    last = piece.slabs[-1]
    gap = np.all(np.asarray(last.index) == 1.0)
    film = Slab(index=FILM_INDEX if gap else last.index, absorbed=0.0)
    slabs = (*piece.slabs, film)
    bodies = (*piece.bodies, max(piece.bodies, default=-1) + 1)
    return replace(piece, slabs=slabs, bodies=bodies), len(slabs) - 1


def with_coats(
    piece: Piece, inks: Sequence[Ink], combination: Combination, side: str
) -> Piece:
    """Return the piece with a combination of coats put on."""
    if not combination:
        return piece
    places = [("light", j) for j in range(len(piece.beams))]
    if side == "viewer":
        piece, slab = with_face_film(piece)
        places = [("slab", slab)]
    tints = list(piece.tints)
    for i, count in combination:
        for place in places:
            before = _coats_there(piece, inks[i], place)
            tints = [t for t in tints if not _is(t, inks[i], place)]
            tints.append(_coat(inks[i], before + count, place))
    return replace(piece, tints=tuple(tints))


def _is(tint: Tint, ink: Ink, place: tuple[str, int]) -> bool:
    return tint.place == place and tint.colourant.name == ink.name


def _coats_there(piece: Piece, ink: Ink, place: tuple[str, int]) -> int:
    return sum(
        tint.origin.count
        for tint in piece.tints
        if _is(tint, ink, place) and isinstance(tint.origin, Coats)
    )


def _coat(ink: Ink, count: int, place: tuple[str, int]) -> Tint:
    return Tint(
        colourant=ink,
        place=place,
        shape=shape_of(ink),
        absorbance=float(
            coats_absorbance(first=ink.peak_absorbance, coats=count, gain=ink.gain)
        ),
        unevenness=ink.unevenness,
        origin=Coats(ink=ink, count=count),
    )


def _same_everywhere(piece: Piece, ink: Ink) -> bool:
    """Whether all LEDs carry the same number of coats of an ink already."""
    there = {_coats_there(piece, ink, ("light", j)) for j in range(len(piece.beams))}
    return len(there) == 1


def _transmittances(piece: Piece, ink: Ink, side: str, most: int) -> Array:
    """What 1, 2, ... further coats let through, shape (most, 401)."""
    before = _coats_there(piece, ink, ("light", 0)) if side == "led" else 0
    shape = shape_of(ink)

    def passed(count: int) -> Array:
        A = coats_absorbance(first=ink.peak_absorbance, coats=count, gain=ink.gain)
        return uneven_transmittance(absorbance=A * shape, variation=ink.unevenness)

    base = passed(before) if before else 1.0
    return np.stack([passed(before + n + 1) / base for n in range(most)])


def with_emitter(piece: Piece, emitter: Emitter) -> Piece:
    """Return the piece with every LED replaced, at the new one's own light.

    The new LED gives its typical efficacy at the current of the old one's typical
    forward voltage; where no efficacy is known, as many lumens as before.
    """
    beams = []
    for beam in piece.beams:
        light: Light = beam.light
        power = emitter_power(emitter, junction=light.junction)
        lumens = light.lumens
        if emitter.efficacy and light.emitter.efficacy:
            watts = light.lumens / light.emitter.efficacy
            lumens = emitter.efficacy * watts
        scale = lumens * light.count
        scale /= MAXIMUM_EFFICACY * float(spectrum_to_XYZ(power)[1])
        swapped = replace(light, emitter=emitter, lumens=lumens)
        beams.append(replace(beam, power=power * scale, light=swapped))
    lit = [t for t in piece.tints if t.place[0] != "light"]
    return replace(piece, beams=tuple(beams), tints=tuple(lit))
