"""A picture of the glow over the face (matplotlib)."""

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon, Rectangle

from tintlab.proof.eye import to_display
from tintlab.proof.face import FaceMap, face_map, mapped, xyz_responses
from tintlab.proof.map_even import led_places
from tintlab.report.plot import GREY, INK
from tintlab.report.text import amount
from tintlab.verdict import Prediction

SAMPLES = 160  # along the longer side
MEAN_SHOWN = 0.4  # of display white for the mean of the face


def face_figure(
    prediction: Prediction, answer: dict[str, Any], face: dict[str, Any] | None
) -> Figure:
    """Draw the face with contours of luminance, its LEDs, profiles and zones.

    Parameters
    ----------
    prediction : Prediction
        Of an inset with a size.
    answer : dict
        From `data.flat`.
    face : dict or None
        From `facing.face_answer`.
    """
    inset = prediction.inset
    longest = max(inset.size) if inset.size else None
    map_ = face_map(
        inset,
        responses=xyz_responses(),
        spacing=longest / SAMPLES if longest else None,
        piece=prediction.piece,
    )
    figure = Figure(figsize=(9, 6.2), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(3, 2, width_ratios=(1.6, 1), height_ratios=(1, 1, 0.8))
    between = mapped(
        inset, prediction.piece, xyz_responses(), cell=map_.spacing, images=False
    )
    _face(figure.add_subplot(grid[:, 0]), prediction, map_)
    _contours(figure.axes[0], between)
    _profile(figure.add_subplot(grid[0, 1]), map_, across=True)
    _profile(figure.add_subplot(grid[1, 1]), map_, across=False)
    _zones(figure.add_subplot(grid[2, 1]), answer, face)
    figure.suptitle(
        f"{inset.name}: over the face, room light left out", color=INK, fontsize=13
    )
    words = face["evenness_words"] if face else None
    words = words or "even, because no box with its LEDs is given"
    figure.supxlabel(textwrap.fill(words, 120), fontsize=8.5, color=INK)
    return figure


def _face(axes: Axes, prediction: Prediction, map_: FaceMap) -> None:
    inset = prediction.inset
    half = map_.spacing / 2
    extent = (map_.x[0] - half, map_.x[-1] + half, map_.y[-1] + half, map_.y[0] - half)
    Y = map_.values[..., 1]
    mean = float((Y * map_.inside).sum() / map_.inside.sum())
    shown = to_display(map_.values, white_luminance=max(mean, 1e-9) / MEAN_SHOWN)
    axes.set_facecolor(GREY)
    axes.imshow(
        np.clip(np.concatenate([shown, map_.inside[..., None]], axis=-1), 0, 1),
        extent=extent,
        interpolation="nearest",
    )
    for places, light in zip(led_places(inset), inset.lights, strict=False):
        for x, y in places[:400]:
            ring = Circle((x, y), light.package / 2, fill=False, ec="white", lw=0.7)
            axes.add_patch(ring)
            axes.plot([x], [y], "+", color=INK, ms=5, mew=0.7)
    if inset.outline is not None and inset.outline.mask is None:
        axes.add_patch(Polygon(inset.outline.corners, fill=False, ec=INK, lw=1))
    axes.set(xlabel="mm from the middle", ylabel="mm, downwards")
    axes.set_title(
        f"mean {amount(mean)} cd/m2; lines in cd/m2 between the LEDs (rings)",
        fontsize=8.5,
        color=INK,
    )


def _contours(axes: Axes, between: FaceMap) -> None:
    """Draw lines of equal luminance; the images of the LEDs are left out."""
    Y = np.where(between.inside >= 0.5, between.values[..., 1], np.nan)
    low, high = np.nanmin(Y), np.nanmax(Y)
    if min(Y.shape) < 2 or not high > 1.02 * low:
        return
    levels = np.unique([float(f"{v:.2g}") for v in np.linspace(low, high, 8)[1:-1]])
    drawn = axes.contour(
        between.x, between.y, Y, levels=levels, colors=INK, linewidths=0.6, alpha=0.8
    )
    axes.clabel(drawn, fmt=amount, fontsize=6.5)


def _profile(axes: Axes, map_: FaceMap, *, across: bool) -> None:
    Y = np.where(map_.inside >= 0.5, map_.values[..., 1], np.nan)
    row = _line(Y if across else Y.T)
    place = map_.x if across else map_.y
    axes.plot(place, row, color=INK, lw=1.2)
    mean = float((map_.values[..., 1] * map_.inside).sum() / map_.inside.sum())
    axes.axhline(mean, color="#9a9a9a", lw=0.8, ls="--")
    axes.set_ylim(bottom=0)
    axes.set_xlabel(
        "mm, across the widest" if across else "mm, down the longest", fontsize=8
    )
    axes.set_ylabel("cd/m2", fontsize=8)
    axes.tick_params(labelsize=7)
    axes.spines[["top", "right"]].set_visible(False)


def _line(Y: np.ndarray) -> np.ndarray:
    """Return the row that crosses most of the inset, the one nearest the middle."""
    covered = np.isfinite(Y).sum(axis=1)
    off_middle = np.abs(np.arange(len(Y)) - len(Y) // 2) / (len(Y) + 1)
    return np.asarray(Y[(covered - off_middle).argmax()])


def _zones(axes: Axes, answer: dict[str, Any], face: dict[str, Any] | None) -> None:
    """Draw the mean glow, and the thin and the thick zone, side by side."""
    shown = [("mean", answer["glow_hex"])]
    for name, at in (("thin", 0), ("thick", 2)):
        zone = face[name] if face else None
        if zone is not None:
            depth = " + ".join(f"{v:g}" for v in zone["thickness_mm"])
            shown.insert(at, (f"{name}, {depth} mm", zone["hex"]))
    axes.set_facecolor(GREY)
    for i, (label, colour) in enumerate(shown):
        axes.add_patch(Rectangle((i, 0.3), 1, 0.62, color=colour))
        axes.text(
            i + 0.5, 0.15, f"{label}\n{colour}", ha="center", va="center",
            color="white", fontsize=7,
        )  # fmt: skip
    axes.set(xlim=(-0.1, len(shown) + 0.1), ylim=(0, 1), xticks=[], yticks=[])
    axes.set_title(f"in {answer['room']}, exposed to match", fontsize=8, color=INK)
