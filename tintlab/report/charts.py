"""Pictures of doses, trims, reaches and twins (matplotlib)."""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from numpy.typing import NDArray

from tintlab.report.plot import GREY, INK
from tintlab.solve.reach import Reach
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]


def _figure(height: float, rows: int, ratios: tuple[float, ...]) -> tuple[Figure, Any]:
    figure = Figure(figsize=(9, height), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    return figure, figure.add_gridspec(rows, 1, height_ratios=ratios)


def _swatch_row(axes: Axes, shown: list[tuple[str, str]]) -> None:
    """Draw labelled swatches on neutral grey."""
    axes.set_facecolor(GREY)
    for i, (label, colour) in enumerate(shown):
        axes.add_patch(Rectangle((i + 0.06, 0.32), 0.88, 0.62, color=colour))
        axes.text(
            i + 0.5,
            0.16,
            label,
            ha="center",
            va="center",
            color="white",
            fontsize=7.5,
            wrap=True,
        )
    axes.set(xlim=(0, max(len(shown), 4)), ylim=(0, 1), xticks=[], yticks=[])


def trim_figure(answer: dict[str, Any], before_hex: str) -> Figure:
    """Draw before, target and each fix, and their fronts."""
    figure, grid = _figure(6.2, 2, (1, 2.6))
    shown = [("as it is", before_hex)]
    if answer["target_hex"]:
        shown.append(("target", answer["target_hex"]))
    shown += [(_short(fix), fix["take"]["hex"]) for fix in answer["fixes"][:5]]
    _swatch_row(figure.add_subplot(grid[0]), shown)
    axes = figure.add_subplot(grid[1])
    for fix, marker in zip(answer["fixes"][:6], "os^Dv*", strict=False):
        points = [(c["light_against_now"], c["difference"]) for c in fix["front"]]
        light, difference = np.array(points).T
        axes.plot(light, difference, marker, ms=5, alpha=0.6, label=_short(fix))
        axes.plot(
            fix["take"]["light_against_now"],
            fix["take"]["difference"],
            marker,
            ms=11,
            mfc="none",
            color=INK,
        )
    if answer["tolerance"]:
        axes.axhline(answer["tolerance"], color=INK, lw=0.8, ls="--")
    axes.set(
        xlabel="light against now (ringed: the one to take)",
        ylabel="difference (dashed: tolerance)",
    )
    axes.set_ylim(bottom=0 if min(p["difference"] for f in answer["fixes"]
                                  for p in f["front"]) >= 0 else None)  # fmt: skip
    axes.legend(frameon=False, fontsize=8)
    axes.spines[["top", "right"]].set_visible(False)
    figure.suptitle(f"{answer['name']}: trims", color=INK, fontsize=13)
    return figure


def _short(fix: dict[str, Any]) -> str:
    return (
        fix["emitter"]
        or {"led": "coats on the LEDs", "viewer": "coats on the face"}[fix["side"]]
    )


def reach_figure(
    answer: dict[str, Any], curves: dict[str, Reach], light: Array
) -> Figure:
    """Draw the limit over the share of light kept, and the ideal filter."""
    figure, grid = _figure(6.4, 2, (1.5, 1))
    axes = figure.add_subplot(grid[0])
    for policy, colour in (("free", "#1b6ca8"), ("match", "#a8541b")):
        curve = curves[policy]
        axes.fill_between(curve.shares, 0, curve.low, color=colour, alpha=0.13, lw=0)
        axes.plot(curve.shares, curve.low, color=colour, lw=1.6,
                  label=f"lightness {policy}: certified limit")  # fmt: skip
        axes.plot(curve.shares, curve.high, color=colour, lw=1, ls=":",
                  label="explicit filter")  # fmt: skip
    for point in answer["points"]:
        axes.plot(point["light_kept"], point["difference"], "o", color=INK, ms=5)
        at = (point["light_kept"], point["difference"])
        axes.text(*at, f"  {point['what']}", fontsize=7, va="bottom")
    if answer["tolerance"]:
        axes.axhline(answer["tolerance"], color=INK, lw=0.8, ls="--")
    room = ", room light included" if answer["room_light"] >= 0.005 else ""
    axes.set(
        xlabel=f"light kept{room}", ylabel="CIEDE2000", xlim=(0, 1), ylim=(0, None)
    )
    axes.legend(frameon=False, fontsize=8)
    axes.spines[["top", "right"]].set_visible(False)
    below = figure.add_subplot(grid[1])
    best = curves["free"].best
    below.plot(WAVELENGTHS, light / light.max(), color="#9a9a9a", lw=1.2)
    below.fill_between(WAVELENGTHS, best.filter, step="mid", color="#1b6ca8", alpha=0.3)
    below.set(
        xlim=(380, 780), ylim=(0, 1.05), xlabel="wavelength [nm]",
        ylabel="light; ideal filter",
    )  # fmt: skip
    below.spines[["top", "right"]].set_visible(False)
    title = f"{answer['name']}: what no filter can do"
    figure.suptitle(title, color=INK, fontsize=13)
    return figure


def twin_figure(answer: dict[str, Any], a: Array, b: Array) -> Figure:
    """Draw two pieces side by side, touching, and their spectra."""
    figure, grid = _figure(5.6, 2, (1, 1.8))
    axes = figure.add_subplot(grid[0])
    axes.set_facecolor(GREY)
    for i, key in enumerate(("a_hex", "b_hex")):
        axes.add_patch(Rectangle((1 + i, 0.2), 1, 0.7, color=answer[key]))
        axes.text(1.5 + i, 0.1, f"{'AB'[i]}  {answer[key]}", ha="center", va="center",
                  color="white", fontsize=9)  # fmt: skip
    axes.set(xlim=(0, 4), ylim=(0, 1), xticks=[], yticks=[])
    lower = figure.add_subplot(grid[1])
    top = max(float(a.max()), float(b.max()))
    lower.plot(WAVELENGTHS, a / top, color=INK, lw=1.5, label="A")
    lower.plot(WAVELENGTHS, b / top, color="#a8541b", lw=1.5, ls="--", label="B")
    lower.set(xlim=(380, 780), ylim=(0, 1.05), xlabel="wavelength [nm]",
              ylabel="radiance, relative")  # fmt: skip
    lower.legend(frameon=False)
    lower.spines[["top", "right"]].set_visible(False)
    figure.suptitle(f"side by side: {answer['verdict']}", color=INK, fontsize=13)
    return figure
