"""Will two pieces look the same?

Both are put on the scale of piece A's undyed luminance, so that brightness counts. The
difference is traced by giving B one thing of A's at a time (its light, its depth, its
doses), and B's doses are solved anew to match A at B's depth.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from tintlab import yardstick
from tintlab.colorimetry import XYZ_to_Lab, delta_e_2000, spectrum_to_XYZ
from tintlab.colourants import Bottle
from tintlab.errors import InsetError
from tintlab.glow import Look, look
from tintlab.inset import Inset, Layer, Target
from tintlab.solve.dose import Doses, doses

SIDE_BY_SIDE = 2.0  # CIEDE2000 that is seen edge to edge; common practice
ACROSS_THE_ROOM = 5.0  # CIEDE2000 that is seen between pieces apart; common practice
BRIGHTER = 1.15  # luminance ratio that is seen between two pieces; common practice


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Twin:
    """The comparison of piece B with piece A.

    Attributes
    ----------
    a, b : Look
    difference : float
        CIEDE2000, both on A's scale, lightness included.
    colour_only : float
        CIEDE2000 at equal luminance.
    ratio : float
        Luminance of B over that of A. [-]
    causes : tuple of (str, float)
        What B differs in, and the difference left when B has it as A does; the one
        that leaves least comes first.
    match : Doses or None
        Doses for B's layer that match A; None when B has no bottles.
    """

    a: Look
    b: Look
    difference: float
    colour_only: float
    ratio: float
    causes: tuple[tuple[str, float], ...]
    match: Doses | None

    @property
    def verdict(self) -> str:
        """What an onlooker would say."""
        if max(self.ratio, 1 / self.ratio) < BRIGHTER:
            if self.colour_only <= SIDE_BY_SIDE:
                return "alike side by side"
            if self.colour_only <= ACROSS_THE_ROOM:
                return "alike across the room"
            return "different"
        if self.colour_only <= ACROSS_THE_ROOM:
            return "same colour, different brightness"
        return "different"


def twin(a: Inset, b: Inset, *, scale: float = 0.1) -> Twin:
    """Compare two insets in A's room.

    Parameters
    ----------
    a, b : Inset
    scale : float
        Step of the maker's scale. [g]

    Raises
    ------
    InsetError
        When one has a size and the other has none, so that they share no brightness.
    """
    if (a.size is None) != (b.size is None):
        raise InsetError(
            f'"{a.name}" and "{b.name}": one has an [inset] size and the other has '
            "none; give both, or neither"
        )
    seen_a, seen_b = look(a, room=a.room), look(b, room=a.room)
    scale_b = _anchor(seen_b) / _anchor(seen_a)
    on_a = seen_b.XYZ * scale_b
    causes = [
        (name, _apart(seen_a, look(other, room=a.room))) for name, other in _swaps(a, b)
    ]
    return Twin(
        a=seen_a,
        b=seen_b,
        difference=float(delta_e_2000(XYZ_to_Lab(on_a), seen_a.Lab)),
        colour_only=_colour_only(seen_a, seen_b),
        ratio=float(on_a[1] / seen_a.XYZ[1]),
        causes=tuple(sorted(causes, key=lambda cause: cause[1])),
        match=_match(a, b, seen_a, scale),
    )


def _anchor(seen: Look) -> float:
    """Luminance of the undyed piece, which both are measured by."""
    return float(spectrum_to_XYZ(seen.undyed)[1])


def _apart(a: Look, b: Look) -> float:
    on_a = b.XYZ * _anchor(b) / _anchor(a)
    return float(delta_e_2000(XYZ_to_Lab(on_a), a.Lab))


def _colour_only(a: Look, b: Look) -> float:
    Y = max(float(a.XYZ[1]), yardstick.common_luminance([0.0]))
    pair = (XYZ_to_Lab(yardstick.scaled(seen.XYZ, Y)) for seen in (a, b))
    return float(delta_e_2000(*pair))


def _swaps(a: Inset, b: Inset) -> list[tuple[str, Inset]]:
    """B with one thing taken from A, for each thing in which they may differ."""
    found = [
        ("LED", replace(b, lights=a.lights)),
        ("box and size", replace(b, cavity=a.cavity, size=a.size, outline=a.outline)),
    ]
    if len(a.layers) == len(b.layers):
        for i, (one, other) in enumerate(zip(a.layers, b.layers, strict=True)):
            if one.kind != other.kind:
                continue
            for name, keys in (
                ("thickness", ("thickness",)),
                ("dose", ("dosed", "bathed")),
                ("films", ("coats",)),
            ):
                taken: dict[str, Any] = {key: getattr(one, key) for key in keys}
                layer = replace(other, **taken)
                layers = (*b.layers[:i], layer, *b.layers[i + 1 :])
                label = f"{name} of layer {i + 1}"
                if _differs(one, other, keys):
                    found.append((label, replace(b, layers=layers)))
    return found


def _differs(one: Layer, other: Layer, keys: Iterable[str]) -> bool:
    """Whether two layers differ in any of the named things, as a maker writes them."""

    def written(layer: object, key: str) -> object:
        value = getattr(layer, key)
        if isinstance(value, tuple):
            return [
                (
                    getattr(v, "colourant", getattr(v, "ink", None)).name,  # type: ignore[union-attr]
                    getattr(v, "per_kg", getattr(v, "minutes", None))
                    or getattr(v, "count", None),
                )
                for v in value
            ]
        return value

    return any(written(one, key) != written(other, key) for key in keys)


def _match(a: Inset, b: Inset, seen_a: Look, scale: float) -> Doses | None:
    """Doses of B's own bottles that bring B to A's colour."""
    bottles: dict[str, Bottle] = {}
    for layer in b.layers:
        for dosed in layer.dosed:
            if isinstance(dosed.colourant, Bottle):
                bottles[dosed.colourant.name] = dosed.colourant
        for bathed in layer.bathed:
            bottles[bathed.colourant.name] = bathed.colourant
    if not bottles:
        return None
    wanted = Target(
        Lab=XYZ_to_Lab(yardstick.scaled(seen_a.XYZ, max(float(seen_a.XYZ[1]), 0.02))),
        region=None,
        tolerance=SIDE_BY_SIDE,
    )
    return doses(
        replace(b, target=wanted, room=a.room), list(bottles.values()), scale=scale
    )
