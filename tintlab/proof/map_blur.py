"""Sideways spread of light on its way through what scatters.

A viewer looks along the normal at the last scatterer that light met. Clear layers
before the first scatterer only move the LEDs closer (apparent depth), clear layers
after the last are looked through; what blurs is the inside of scatterers, and clear
layers and gaps between two of them. Kernels are given by their transfer function
H(q), the mean of cos(q x). Absorption, which narrows them, is left out.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.inset import Inset
from tintlab.optics import diffuse_reflectance
from tintlab.optics.quadrature import gauss, lagrange
from tintlab.piece import Piece
from tintlab.proof.map_stack import NODES

Array = NDArray[np.float64]

# Fitted to a Monte Carlo of slabs of index 1.49, anisotropy 0 to 0.9 and transport
# depth 0.05 to 16 (tests/proof/test_map_blur.py); rms 0.025 in H.
KEPT = (1.55, 0.87)  # share exp(-(tau' / 1.55)^0.87) of light that keeps its course
CORE = (0.14, 0.22)  # its width over thickness: 0.14 + 0.22 tau'
ENTRY = 0.96  # z_0 tau'; 1 in theory
OUTSIDE = 0.438  # z_e tau' over (1 + r) / (1 - r); 2/3 in theory
FACES = 0.08  # reflectance of a scatterer's faces, for light that comes back

SHARP = 0.97  # transfer at half a cycle per cell that needs no blurring
BALANCING = 30  # rounds; the uniform field is then even to 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sheet:
    """One slab: thickness [mm], index, scattering depth and transport depth [-]."""

    thickness: float
    index: float
    scattered: float
    transport: float


def sheets_of(inset: Inset, piece: Piece) -> list[Sheet]:
    """Give every slab its thickness; a frosted face has none."""
    found = []
    for i, (slab, number) in enumerate(zip(piece.slabs, piece.bodies, strict=True)):
        layer = inset.layers[number] if number >= 0 else None
        thickness = 0.0
        if layer is not None:
            first = piece.bodies.index(number)
            frosted_back = layer.back == "frosted" and layer.medium is not None
            thickness = layer.thickness if i == first + frosted_back else 0.0
        scattered = _mean(slab.scattered)
        found.append(
            Sheet(
                thickness=thickness,
                index=_mean(slab.index),
                scattered=scattered,
                transport=scattered * (1 - _mean(slab.anisotropy)),
            )
        )
    return found


def _mean(values: ArrayLike) -> float:
    return float(np.asarray(values, dtype=float).mean())


def apparent_depth(sheets: list[Sheet]) -> float:
    """Air path that the clear layers before the first scatterer stand for. [mm]

    Thickness over index, for rays near the normal.
    """
    found = 0.0
    for sheet in sheets:
        if sheet.scattered > 0:
            return found
        found += sheet.thickness / sheet.index
    return 0.0


def transfer_of(sheets: list[Sheet], lobe: ArrayLike) -> Callable[[Array], Array]:
    """Transfer function of a stack, for light that was scattered in it.

    Parameters
    ----------
    sheets : list of Sheet
        From the light to the viewer.
    lobe : array_like, shape (n_nodes,)
        Head-on radiance for light at each of `NODES`: by reciprocity, where light
        goes that a viewer would send in along the normal; taken for the spread
        between two scatterers as well (assumed).

    Returns
    -------
    callable
        H of an array of q [1/mm].

    Notes
    -----
    Of the light that was scattered before, the share 1 - p of one more scatterer shows
    as it was, and the share p starts out anew from there. Between two scatterers that
    reflect R_1 and R_2 light crosses any odd number of times:

    H = (1 - R_1 R_2) H_x / (1 - R_1 R_2 H_x^2), H_x of a single crossing.

    """

    def transfer(q: Array) -> Array:
        whole, share = np.ones_like(q), 0.0
        between: list[Sheet] = []
        last: Sheet | None = None
        for sheet in sheets:
            if sheet.scattered == 0:
                between += [sheet] if last else []
                continue
            p = 1 - np.exp(-sheet.scattered)
            anew = whole * scatterer_transfer(
                q * sheet.thickness, transport=sheet.transport, index=sheet.index
            )
            if last and between:
                once = lobe_transfer(q, between=between, lobe=lobe)
                back = _returned(last) * _returned(sheet)
                anew = anew * (1 - back) * once / (1 - back * once**2)
            kept = (1 - p) * share
            whole = (kept * whole + p * anew) / (kept + p)
            share, between, last = share + (1 - share) * p, [], sheet
        return whole

    return transfer


def _returned(sheet: Sheet) -> float:
    """Reflectance of a scatterer for diffuse light, by two-flux theory and faces."""
    scattered = 0.75 * sheet.transport
    return 1 - (1 - FACES) / (1 + scattered)


def scatterer_transfer(
    q: ArrayLike, *, transport: float, index: float
) -> NDArray[np.float64]:
    """Transfer function of a scattering slab of unit thickness.

    Parameters
    ----------
    q : array_like, shape (...)
        Per thickness. [-]
    transport : float
        Transport depth tau' = scattered (1 - anisotropy). [-]
    index : float

    Returns
    -------
    ndarray, shape (...)

    Notes
    -----
    Diffusion between two planes a distance z_e outside of the faces, lit at one
    transport length z_0 inside [1, 2]:

    H = sinh q (z_0 + z_e) / sinh q (1 + 2 z_e), over its value at q = 0,

    with z_0 = 1 / tau', z_e = 2/3 z_0 (1 + r) / (1 - r), r of the face from inside.
    A share of the light is hardly turned and spreads as 1 / sqrt(1 + (s q)^2). The
    share, s and the factors of z_0 and z_e are fitted to a Monte Carlo: within 0.1.

    References
    ----------
    [1] M. S. Patterson, B. Chance, B. C. Wilson, Appl. Opt. 28 (1989) 2331.
    [2] D. Contini, F. Martelli, G. Zaccanti, Appl. Opt. 36 (1997) 4587 (the planes
        outside). Both from memory; the transform of their sum of images is above.
    """
    q = np.asarray(q, dtype=float)
    r = float(diffuse_reflectance(n_from=index, n_into=1.0)) if index > 1 else 0.0
    transport = max(transport, 1e-3)
    z_0 = ENTRY / transport
    z_e = OUTSIDE * (1 + r) / (1 - r) / transport
    inner, outer = z_0 + z_e, 1 + 2 * z_e
    safe = np.maximum(q, 1e-6)
    diffuse = (
        np.exp(-safe * (outer - inner))
        * (-np.expm1(-2 * safe * inner))
        / (-np.expm1(-2 * safe * outer))
        * (outer / inner)
    )
    kept = np.exp(-((transport / KEPT[0]) ** KEPT[1]))
    core = 1 / np.sqrt(1 + ((CORE[0] + CORE[1] * transport) * q) ** 2)
    return np.asarray(kept * core + (1 - kept) * diffuse)


def lobe_transfer(q: Array, *, between: list[Sheet], lobe: ArrayLike) -> Array:
    """Transfer function of clear sheets and gaps, for light from a scatterer.

    The mean over the lobe of J0 of q times the sideways step, thickness times the
    tangent, summed over the sheets. Without an air gap among them light crosses at
    every angle, not only at those that a face lets out.
    """
    cosines, steps = gauss(48)
    radiance = lagrange(nodes=NODES, points=cosines) @ np.asarray(lobe, dtype=float)
    flux = np.maximum(radiance, 0.0) * cosines * steps
    least = min(sheet.index for sheet in between)
    aside = np.zeros_like(cosines)
    for sheet in between:
        sine = np.sqrt(1 - cosines**2) * least / sheet.index
        aside += sheet.thickness * sine / np.sqrt(1 - sine**2)
    table = np.linspace(0.0, float(q.max()) + 1e-9, 400)
    values = bessel_j0(table[:, None] * aside) @ (flux / flux.sum())
    return np.asarray(np.interp(q, table, values))


def bessel_j0(x: ArrayLike) -> Array:
    """Bessel function J0: its integral up to 12, its asymptote beyond.

    References
    ----------
    [1] M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, 9.1.18 and
        9.2.1 with the first term of 9.2.9; from memory.
    """
    x = np.asarray(x, dtype=float)
    angles = (np.arange(20) + 0.5) / 20 * np.pi / 2
    near = np.cos(np.minimum(x, 12.0)[..., None] * np.cos(angles)).mean(axis=-1)
    large = np.maximum(x, 12.0)
    phase = large - np.pi / 4
    far = np.sqrt(2 / (np.pi * large)) * (np.cos(phase) + np.sin(phase) / (8 * large))
    return np.where(x <= 12.0, near, far)


def blurred(
    fields: Array, *, inside: Array, cell: float, transfer: Callable[[Array], Array]
) -> Array:
    """Spread light sideways within an outline, losing none.

    Parameters
    ----------
    fields : ndarray, shape (n_y, n_x, n_fields)
    inside : ndarray, shape (n_y, n_x)
        Share of each cell inside the outline. [-]
    cell : float
        [mm]
    transfer : callable
        H of an array of q [1/mm].

    Returns
    -------
    ndarray, shape (n_y, n_x, n_fields)
        With the same sum over `inside`; an even field stays even.

    Notes
    -----
    What the kernel would send across the edge comes back: the kernel is scaled from
    both sides until every row and column of it sums to 1 over the outline (Sinkhorn
    & Knopp, Pacific J. Math. 21 (1967) 343; from memory).
    """
    if float(transfer(np.array([np.pi / cell]))[0]) > SHARP:
        return fields
    shape = (2 * inside.shape[0], 2 * inside.shape[1])
    across = 2 * np.pi * np.fft.fftfreq(shape[1], cell)
    down = 2 * np.pi * np.fft.fftfreq(shape[0], cell)
    kernel = np.fft.ifft2(transfer(np.hypot(down[:, None], across))).real
    kernel = np.maximum(kernel, 0.0)
    spectrum = np.fft.rfft2(kernel / kernel.sum())

    def spread(values: Array) -> Array:
        whole = np.fft.irfft2(np.fft.rfft2(values, shape) * spectrum, shape)
        return np.asarray(whole[: inside.shape[0], : inside.shape[1]])

    scale = np.ones_like(inside)
    for _ in range(BALANCING):
        scale = np.sqrt(scale / np.maximum(spread(scale * inside), 1e-12))
    weighted = scale * inside
    out = [spread(weighted * fields[..., i]) for i in range(fields.shape[-1])]
    return np.asarray(scale[..., None] * np.stack(out, axis=-1))
