"""Pictures of a prediction and of materials; only here is matplotlib imported."""

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from tintlab.colorimetry import XYZ_to_swatch, illuminant, spectrum_to_XYZ
from tintlab.errors import TintlabError
from tintlab.glow import tint_depths
from tintlab.optics import uneven_transmittance
from tintlab.report.shelves import material_curves, material_swatch
from tintlab.spectrum import WAVELENGTHS
from tintlab.starved import starved_bands
from tintlab.verdict import Prediction

GREY = "#777777"  # neutral surround of the swatches, close to L* 50
INK = "#222222"


def glow_figure(prediction: Prediction, answer: dict[str, Any]) -> Figure:
    """Draw swatches, spectrum with every factor, spread and the light-kept bar."""
    figure = Figure(figsize=(9, 6.6), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(3, 1, height_ratios=(1.5, 4.2, 0.55))
    _swatches(figure.add_subplot(grid[0]), answer)
    _spectrum(figure.add_subplot(grid[1]), prediction)
    _kept_bar(figure.add_subplot(grid[2]), prediction, answer)
    title = f"{answer['name']}, in {answer['room']}"
    if answer["verdict"]:
        title += f": {answer['verdict']}"
    figure.suptitle(title, fontsize=13, color=INK)
    return figure


def _swatches(axes: Axes, answer: dict[str, Any]) -> None:
    axes.set_facecolor(GREY)
    shown = [("glow, lit", answer["glow_hex"])]
    if answer["target_hex"]:
        shown.append(("target", answer["target_hex"]))
    shown.append(("face, unlit", answer["face_hex"]))
    for i, (label, colour) in enumerate(shown):
        axes.add_patch(Rectangle((i * 1.3 + 0.1, 0.25), 1.1, 0.68, color=colour))
        axes.text(
            i * 1.3 + 0.65, 0.13, f"{label}  {colour}", ha="center", va="center",
            color="white", fontsize=8.5,
        )  # fmt: skip
    start = len(shown) * 1.3 + 0.1
    for i, colour in enumerate(answer["spread_hex"]):
        axes.add_patch(Rectangle((start + i * 0.5, 0.25), 0.5, 0.68, color=colour))
    axes.text(
        start + 1.25, 0.13, "could be, 5 to 95 %", ha="center", va="center",
        color="white", fontsize=8.5,
    )  # fmt: skip
    axes.set(xlim=(0, start + 2.6), ylim=(0, 1), xticks=[], yticks=[])


def _spectrum(axes: Axes, prediction: Prediction) -> None:
    piece, look = prediction.piece, prediction.look
    top = float(look.undyed.max())
    for low, high in starved_bands(look.undyed, narrowest=15):
        axes.axvspan(low, high, color="#e9e4da", zorder=0)
        axes.text(
            (low + high) / 2, 1.02, "starved", ha="center", va="top", fontsize=7.5,
            color="#857a63", rotation=90 if high - low < 40 else 0,
        )  # fmt: skip
    axes.plot(WAVELENGTHS, look.undyed / top, color="#9a9a9a", lw=1.2, label="undyed")
    _under(axes, look.radiance / top)
    for i, tint in enumerate(piece.tints):
        passed = uneven_transmittance(
            absorbance=tint.absorbance * tint.shape, variation=tint.unevenness
        )
        colour = _through(passed)
        style = ("-", "--", "-.", ":")[i % 4]
        label = f"{tint.colourant.name} (alone)"
        axes.plot(WAVELENGTHS, passed, color=colour, lw=1.6, ls=style, label=label)
    depths, _ = tint_depths(piece)
    if len(piece.tints) > 1:
        inside = np.exp(-np.sum(depths, axis=0))
        axes.plot(WAVELENGTHS, inside, color=INK, lw=0.9, ls=":", label="all dyes")
    axes.set(
        xlim=(380, 780), ylim=(0, 1.06), xlabel="wavelength [nm]",
        ylabel="radiance / undyed peak;  transmittance",
    )  # fmt: skip
    axes.legend(loc="upper right", fontsize=8, framealpha=0.85, edgecolor="none")
    axes.spines[["top", "right"]].set_visible(False)


def _under(axes: Axes, values: np.ndarray) -> None:
    """Fill below a spectrum with the hue of each wavelength (decoration only)."""
    for i in range(0, WAVELENGTHS.size - 4, 4):
        stimulus = np.zeros(WAVELENGTHS.size)
        stimulus[i : i + 5] = 1.0
        XYZ = spectrum_to_XYZ(stimulus)
        tries = [XYZ_to_swatch(XYZ / XYZ[1] * Y) for Y in (0.5, 0.35, 0.2, 0.13, 0.07)]
        shown = min(tries, key=lambda swatch: round(swatch.grey_added, 1))
        axes.fill_between(
            WAVELENGTHS[i : i + 5], values[i : i + 5],
            color=shown.hex, alpha=0.75, lw=0, zorder=1,
        )  # fmt: skip
    axes.plot(WAVELENGTHS, values, color=INK, lw=1.0)


def _through(transmittance: np.ndarray) -> str:
    """Colour of daylight through a filter, darkened enough to show on white."""
    light = illuminant("D65")
    XYZ = spectrum_to_XYZ(light * transmittance) / spectrum_to_XYZ(light)[1]
    return XYZ_to_swatch(XYZ * min(1.0, 0.45 / max(XYZ[1], 1e-9))).hex


def _kept_bar(axes: Axes, prediction: Prediction, answer: dict[str, Any]) -> None:
    low, high = answer["light_kept_5_95"]
    kept = answer["light_kept"]
    axes.barh(0, 1, color="#eeeeee", height=0.7)
    axes.barh(0, kept, color=answer["glow_hex"], height=0.7)
    axes.plot([low, high], [0, 0], color=INK, lw=1.4, marker="|", ms=9)
    target = prediction.inset.target
    if target is not None and target.min_light_kept > 0:
        axes.axvline(target.min_light_kept, color=INK, ls="--", lw=1)
        axes.text(
            target.min_light_kept, 0.42, " wanted", fontsize=7.5, va="bottom",
            color=INK,
        )  # fmt: skip
    axes.set(xlim=(0, 1), ylim=(-0.5, 0.75), yticks=[])
    axes.set_xlabel(
        f"light kept {kept * 100:.0f} % ({low * 100:.0f} to {high * 100:.0f} %)",
        fontsize=9,
    )
    axes.spines[["top", "right", "left"]].set_visible(False)


def material_figure(material: Any) -> Figure:
    """Draw what the shelf knows of one material."""
    figure = Figure(figsize=(8, 4.2), dpi=110, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    label, curves = material_curves(material)
    for name, values in curves.items():
        axes.plot(WAVELENGTHS, values, label=name, lw=1.6)
    axes.set(xlim=(380, 780), xlabel="wavelength [nm]", ylabel=label)
    axes.set_ylim(bottom=0 if label != "refractive index" else None)
    if len(curves) > 1:
        axes.legend(frameon=False, fontsize=8)
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title(material.name, color=INK)
    swatch = material_swatch(material)
    if swatch:
        patch = Rectangle((0.86, 1.01), 0.14, 0.08, color=swatch, clip_on=False,
                          transform=axes.transAxes)  # fmt: skip
        axes.add_patch(patch)
    figure.text(
        0.01, 0.005, f"source: {material.source.citation}"[:150], fontsize=6.5,
        color="#666666",
    )  # fmt: skip
    return figure


def save(figure: Figure, path: Path) -> None:
    """Write a figure as PNG, PDF or SVG, whole or not at all.

    Raises
    ------
    TintlabError
        For another ending or a place that cannot be written.
    """
    endings = (".png", ".pdf", ".svg")
    if path.suffix.lower() not in endings:
        raise TintlabError(
            f'asked for the plot "{path}"; a plot ends in one of {", ".join(endings)}'
        )
    part = path.with_name(f".{path.name}.part")
    try:
        figure.savefig(part, format=path.suffix.lower()[1:])
        part.replace(path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise TintlabError(
            f'cannot write "{path}": {problem.strerror}; choose another place'
        ) from None
