"""The box behind an inset: light that lands on it at once, and light that comes back.

The walls are matt and of one reflectance, the opening is the inset itself. Recycled
light is taken as Lambertian, which holds for a depth of at least half of the width.
"""

import numpy as np
from numpy.typing import ArrayLike

from tintlab.errors import ModelError
from tintlab.optics.quadrature import Array, condensed, gauss

AZIMUTHS = 24  # between two corners; fewer for many corners or many emitters
FEWEST_AZIMUTHS = 6
STEPS = 12  # cosines per azimuth
COSINES = 12  # of the distribution that is handed on


def beam_exponent(full_angle: float) -> float:
    """Exponent k of an emitter whose intensity falls as cos^k.

    Parameters
    ----------
    full_angle : float
        Full angle at half of the intensity, above 0 and up to 180. [deg]

    Returns
    -------
    float
        ln 0.5 / ln cos(half angle); 1 is Lambertian (120 deg), 0 is 180 deg. [-]

    Raises
    ------
    ModelError
        If the angle is outside its range.

    Examples
    --------
    >>> print(f"{beam_exponent(120.0):.3f}")
    1.000
    """
    if not 0.0 < full_angle <= 180.0:
        raise ModelError(
            f"asked for a beam of {full_angle:g} deg; the full angle at half intensity "
            "must be above 0 and up to 180 deg"
        )
    if full_angle == 180.0:
        return 0.0
    return float(np.log(0.5) / np.log(np.cos(np.radians(full_angle / 2.0))))


def box_reflectance(*, wall: ArrayLike, opening_share: ArrayLike) -> Array:
    """Reflectance of a box, as seen through its opening by diffuse light.

    Parameters
    ----------
    wall : array_like, shape (..., n_wavelengths)
        Mean reflectance of the inside without the opening. [-]
    opening_share : array_like, broadcasting with `wall`
        Area of the opening over the whole inside area, opening included. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        rho f / (1 - rho (1 - f)). It is also the share of the light that first meets
        a wall and then finds the opening. [-]

    Raises
    ------
    ModelError
        If an argument is not between 0 and 1, or nothing can leave a lossless box.

    Examples
    --------
    >>> print(f"{box_reflectance(wall=0.7, opening_share=0.22):.2f}")
    0.34

    References
    ----------
    [1] D. G. Goebel, Appl. Opt. 6 (1967) 125 (integrating sphere; from memory).
    """
    rho, f = _ratio(wall=wall), _ratio(opening_share=opening_share)
    stays = rho * (1.0 - f)
    if (stays >= 1.0).any():
        raise ModelError(
            "asked for a lossless box without an opening; lower the wall reflectance "
            "or give the opening an area"
        )
    return rho * f / (1.0 - stays)


def recycled_transmittance(
    *,
    first_transmittance: ArrayLike,
    first_reflectance: ArrayLike,
    diffuse_transmittance: ArrayLike,
    diffuse_reflectance: ArrayLike,
    box: ArrayLike,
) -> Array:
    """Share of the light on an inset that leaves it in the end, a box behind it.

    Parameters
    ----------
    first_transmittance, first_reflectance : array_like, shape (..., n_wavelengths)
        Of the inset for light as it first arrives. [-]
    diffuse_transmittance, diffuse_reflectance : array_like, likewise
        Of the inset for diffuse light from the same side. [-]
    box : array_like, likewise
        Reflectance of what lies behind (`box_reflectance`). [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        T0 + rho R0 Td / (1 - rho Rd). [-]

    Raises
    ------
    ModelError
        If light can never leave.

    Notes
    -----
    The same series gives the reflectance for room light: with T0 the reflectance from
    the viewer's side and R0 the transmittance from there.

    References
    ----------
    [1] D. G. Goebel, Appl. Opt. 6 (1967) 125 (integrating sphere; from memory).
    """
    rho = _ratio(box=box)
    again = rho * np.asarray(diffuse_reflectance, dtype=float)
    if (again >= 1.0).any():
        raise ModelError(
            "asked for a box and an inset that together let no light out; lower a "
            "reflectance below 1"
        )
    returned = rho * np.asarray(first_reflectance, dtype=float)
    onward = np.asarray(diffuse_transmittance, dtype=float) / (1.0 - again)
    return np.asarray(first_transmittance, dtype=float) + returned * onward


def direct_light(
    *,
    width: float,
    height: float,
    depth: float,
    positions: ArrayLike,
    exponent: float,
) -> tuple[float, Array, Array]:
    """Light of emitters on the back of a box that lands on the opening at once.

    Parameters
    ----------
    width, height : float
        Sides of the rectangular opening; the back has the same size. [mm]
    depth : float
        Distance from the emitters to the opening, 0 or more. [mm]
    positions : array_like, shape (n_emitters, 2)
        Places on the back, x along the width and y along the height, from the
        centre; all emitters are equal and face the opening. [mm]
    exponent : float
        k of an intensity that falls as cos^k (`beam_exponent`). [-]

    Returns
    -------
    share : float
        Share of all flux that lands on the opening without touching a wall. [-]
    cosines, weights : ndarray, shape (n_cosines,)
        Distribution of that flux over the cosine in air; the weights sum to 1. It
        can be given as a light to `solve`. [-]

    Raises
    ------
    ModelError
        If a size is not positive, or an emitter lies outside the back.

    Notes
    -----
    Towards one azimuth the edge is met at cosine c, and u = cosine^(k + 1) is evenly
    filled by the flux: what lands has u from c^(k + 1) to 1. Summed over Gauss nodes
    in the azimuth between corners and in u, then condensed to a Gauss rule with the
    same moments.
    """
    _check_box(width, height, depth, exponent)
    places = np.asarray(positions, dtype=float).reshape(-1, 2)
    half = np.array([width, height]) / 2.0
    if places.size == 0 or not (np.abs(places) <= half * (1.0 + 1e-9)).all():
        raise ModelError(
            f"asked for emitters outside the {width:g} x {height:g} mm back of the "
            "box, or for none; measure their places from the centre"
        )
    corners = half * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    return direct_light_within(
        corners=corners, depth=depth, positions=places, exponent=exponent
    )


def direct_light_within(
    *, corners: ArrayLike, depth: float, positions: ArrayLike, exponent: float
) -> tuple[float, Array, Array]:
    """Light that lands on the opening at once, in a box of any outline.

    Parameters
    ----------
    corners : array_like, shape (n_corners, 2)
        Simple polygon: outline of the back, of the walls and of the opening. A wall
        that juts in throws its shadow. [mm]
    depth, positions, exponent
        As for `direct_light`; every emitter lies inside the outline.

    Returns
    -------
    share, cosines, weights
        As for `direct_light`, where the sum is described.

    Raises
    ------
    ModelError
        If the depth or exponent is negative, or there is no emitter.
    """
    _check_box(1.0, 1.0, depth, exponent)
    places = np.asarray(positions, dtype=float).reshape(-1, 2)
    if places.size == 0:
        raise ModelError("asked for a box without emitters; give at least one place")
    edge = np.asarray(corners, dtype=float)
    angles, parts = _azimuths(places, edge)
    reach = _reach(places, edge, angles)
    lowest = _edge_cosine(reach, depth) ** (exponent + 1.0)
    v, steps = gauss(STEPS)
    u = v**4  # smooth in v even where the edge lies at cosine 0
    landed = (parts * (1.0 - lowest))[..., None] * (4.0 * v**3 * steps)
    filled = lowest[..., None] + (1.0 - lowest[..., None]) * u
    share = float(landed.sum() / len(places))
    cosines, weights = condensed(
        nodes=(filled ** (1.0 / (exponent + 1.0))).ravel(),
        weights=landed.ravel(),
        count=COSINES,
    )
    return share, cosines, weights / weights.sum()


def _azimuths(places: Array, corners: Array) -> tuple[Array, Array]:
    """Azimuths and their shares of the circle, split at the corners."""
    towards = corners - places[:, None, :]
    bounds = np.sort(np.arctan2(towards[..., 1], towards[..., 0]), axis=1)
    spans = np.roll(bounds, -1, axis=1) - bounds
    spans[:, -1] += 2.0 * np.pi
    many = max(1.0, len(corners) / 8.0, min(len(places) / 16.0, 2.0))
    x, steps = gauss(max(FEWEST_AZIMUTHS, int(AZIMUTHS / many)))
    angles = bounds[..., None] + spans[..., None] * x
    return angles, spans[..., None] * steps / (2.0 * np.pi)


def _reach(places: Array, corners: Array, angles: Array) -> Array:
    """Distance from each emitter to the first wall along each azimuth."""
    along = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    reach = np.full_like(angles, np.inf)
    ends = np.roll(corners, -1, axis=0)
    turn = np.sign(_cross(corners, ends).sum())
    for start, end in zip(corners, ends, strict=True):
        side = turn * (end - start)
        away = (start - places)[:, None, None, :]
        across = _cross(along, side)
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = _cross(away, side) / across
            met = _cross(away, along) / across
        within = (turn * met >= 0.0) & (turn * met <= 1.0)
        hit = within & (distance >= 0.0) & (across > 0.0)  # on the way out
        reach = np.where(hit & (distance < reach), distance, reach)
    return np.where(np.isinf(reach), 0.0, reach)


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def _edge_cosine(reach: Array, depth: float) -> Array:
    """Cosine at which light meets the edge of the opening."""
    if depth == 0.0:
        return np.zeros_like(reach)
    return np.asarray(depth / np.hypot(depth, reach))


def irradiance(
    *, points: ArrayLike, positions: ArrayLike, depth: float, exponent: float
) -> tuple[Array, Array]:
    """Light of single emitters on a plane: inverse square and cosine law.

    Parameters
    ----------
    points : array_like, shape (..., 2)
        Places on the plane. [mm]
    positions : array_like, shape (n_emitters, 2)
        Feet of the emitters, which face the plane. [mm]
    depth : float
        Distance of the emitters from the plane, above 0. [mm]
    exponent : float
        k of an intensity that falls as cos^k. [-]

    Returns
    -------
    irradiance : ndarray, shape (..., n_emitters)
        E = I_0 cos^k cos / r^2 with I_0 = (k + 1) / (2 pi), per unit of flux of each
        emitter. [1/mm2]
    cosines : ndarray, shape (..., n_emitters)
        Of incidence. [-]

    Raises
    ------
    ModelError
        If the depth is not above 0.

    Examples
    --------
    >>> E, _ = irradiance(points=[0, 0], positions=[[0, 0]], depth=10, exponent=1)
    >>> print(f"{E[0]:.6f}")
    0.003183
    """
    if not depth > 0.0:
        raise ModelError(
            f"asked for the light of an emitter {depth:g} mm from a plane; the depth "
            "must be above 0"
        )
    away = np.asarray(points, dtype=float)[..., None, :] - np.asarray(positions)
    square = (away**2).sum(axis=-1) + depth**2
    cosines = depth / np.sqrt(square)
    intensity = (exponent + 1.0) / (2.0 * np.pi) * cosines**exponent
    return intensity * cosines / square, cosines


def _check_box(width: float, height: float, depth: float, exponent: float) -> None:
    sizes = {"width": width, "height": height, "depth": depth, "exponent": exponent}
    for name, size in sizes.items():
        least = "0 or more" if name in {"depth", "exponent"} else "above 0"
        fits = size >= 0.0 if least == "0 or more" else size > 0.0
        if not (np.isfinite(size) and fits):
            raise ModelError(
                f"asked for a box with {name} {size:g}; it must be {least}"
            )


def _ratio(**named: ArrayLike) -> Array:
    ((name, value),) = named.items()
    array = np.asarray(value, dtype=float)
    if not ((array >= 0.0) & (array <= 1.0)).all():
        raise ModelError(
            f"asked for a box with {name.replace('_', ' ')} outside 0 to 1; give it "
            "as a ratio"
        )
    return array
