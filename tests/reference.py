"""Slow, literal second implementations that the package is checked against.

Nothing here shares code with the package: formulas stand as their sources print them,
bounces are followed one by one, photons one collision at a time. Two-flux theory is
kept here, because on a clear dyed inset it is wrong by 4 to 29 CIEDE2000.
"""

from itertools import pairwise

import numpy as np


def two_flux(*, absorption, scattering):
    """Reflectance and transmittance of a Kubelka-Munk layer, KX and SX given.

    Kubelka 1948 (J. Opt. Soc. Am. 38:448), in the form without cancellation: the
    hyperbolic functions of half of the depth.
    """
    K, S = absorption, scattering
    gamma = np.sqrt(K * (K + 2 * S))
    h = gamma / 2
    t = (1 - h * h / 3) / 2 if h < 1e-4 else np.tanh(h) / gamma
    D = (1 + K * t) * (1 + (K + 2 * S) * t)
    sech = 2 * np.exp(-h) / (1 + np.exp(-2 * h))
    return 2 * S * t / D, sech**2 / D


def two_flux_hyperbolic(*, absorption, scattering):
    """Return the same as `two_flux`, as Kubelka 1948 prints it; needs K, S > 0."""
    A = 1 + absorption / scattering
    B = np.sqrt(A * A - 1)
    x = B * scattering
    D = A * np.sinh(x) + B * np.cosh(x)
    return np.sinh(x) / D, B / D


def saunderson(*, reflectance, transmittance, outside, inside, far_inside):
    """Reflectance and transmittance of a layer with faces.

    Saunderson 1942 (J. Opt. Soc. Am. 32:727) for the reflectance; the transmittance
    from the same series. `outside`, `inside`: the lit face from without and within.
    """
    R, T, k1, k2, k3 = reflectance, transmittance, outside, inside, far_inside
    D = (1 - k2 * R) * (1 - k3 * R) - k2 * k3 * T * T
    total = k1 + (1 - k1) * (1 - k2) * (R * (1 - k3 * R) + k3 * T * T) / D
    return total, (1 - k1) * (1 - k3) * T / D


def two_sheets(*, first, second):
    """Reflectance and transmittance of two sheets; Kubelka 1954 (JOSA 44:330)."""
    (R1, T1), (R2, T2) = first, second
    D = 1 - R1 * R2
    return R1 + T1 * T1 * R2 / D, T1 * T2 / D


def face(n1, n2, sine):
    """Fresnel reflectance for unpolarised light; `sine` is n sin(angle)."""
    if sine >= n2:
        return 1.0
    m1, m2 = np.sqrt(1 - (sine / n1) ** 2), np.sqrt(1 - (sine / n2) ** 2)
    rs = (n1 * m1 - n2 * m2) / (n1 * m1 + n2 * m2)
    rp = (n1 * m2 - n2 * m1) / (n1 * m2 + n2 * m1)
    return (rs * rs + rp * rp) / 2


def bounced_ray(*, indices, depths, cosine, bounces=400):
    """Follow one ray through a stack in air, slab by slab and bounce by bounce."""
    n = [1.0, *indices, 1.0]
    sine = np.sqrt(1 - cosine**2)
    r = [face(a, b, sine) for a, b in pairwise(n)]
    t = [
        np.exp(-depth / np.sqrt(1 - (sine / index) ** 2))
        for index, depth in zip(indices, depths, strict=True)
    ]
    count = len(indices)
    reflected, transmitted = r[0], 0.0
    down = [0.0] * count
    up = [0.0] * count
    down[0] = 1 - r[0]
    for _ in range(bounces):
        at_bottom = [down[i] * t[i] for i in range(count)]
        at_top = [up[i] * t[i] for i in range(count)]
        down = [0.0] * count
        up = [0.0] * count
        for i in range(count):
            up[i] += at_bottom[i] * r[i + 1]
            down[i] += at_top[i] * r[i]
            if i + 1 < count:
                down[i + 1] += at_bottom[i] * (1 - r[i + 1])
            else:
                transmitted += at_bottom[i] * (1 - r[i + 1])
            if i > 0:
                up[i - 1] += at_top[i] * (1 - r[i])
            else:
                reflected += at_top[i] * (1 - r[i])
    return reflected, transmitted


def lambertian_mean(function, *, count=200):
    """Mean of a function of the air cosine over Lambertian light, midpoints in m^2."""
    squares = (np.arange(count) + 0.5) / count
    return float(np.mean([function(np.sqrt(square)) for square in squares]))


def chandrasekhar_h(*, albedo, cosines, count=64):
    """Chandrasekhar's H function for isotropic scattering, by iteration.

    Radiative Transfer (1960), chapter V: 1/H(m) = sqrt(1 - a)
    + (a / 2) integral m' H(m') / (m + m') dm'.
    """
    nodes, weights = np.polynomial.legendre.leggauss(count)
    nodes, weights = (nodes + 1) / 2, weights / 2
    inner = np.ones(count)
    for _ in range(400):
        kernel = nodes / (nodes[:, None] + nodes)
        inner = 1 / (np.sqrt(1 - albedo) + albedo / 2 * kernel @ (weights * inner))
    kernel = nodes / (np.asarray(cosines)[:, None] + nodes)
    return 1 / (np.sqrt(1 - albedo) + albedo / 2 * kernel @ (weights * inner))


def photons(*, slabs, light, count=100_000, cone=10.0, seed=1):
    """Monte Carlo of slabs in contact, in air; Henyey-Greenstein scattering.

    `slabs` are tuples (index, absorbed, scattered, anisotropy), the lit one first.
    Returns a dictionary of (mean, standard error): reflectance, transmittance,
    regular, and headon, the radiance of the unregular part in a cone of `cone` deg
    about the normal over that of a Lambertian exit of all the light.
    """
    rng = np.random.default_rng(seed)
    index, absorbed, scattered, anisotropy = (
        np.array(x, float) for x in zip(*slabs, strict=True)
    )
    depth = absorbed + scattered
    albedo = scattered / np.maximum(depth, 1e-300)
    n = np.concatenate([index, [1.0]])  # n[-1] is air on both sides
    m = np.ones(count) if light == "normal" else np.sqrt(1 - rng.random(count))
    sine = np.sqrt(1 - m * m)
    enters = rng.random(count) >= _faces(1.0, index[0], sine)
    names = ("transmittance", "regular", "headon")
    out = {"reflectance": (~enters).astype(float)} | {x: np.zeros(count) for x in names}
    who = np.flatnonzero(enters)
    where = np.zeros(who.size, dtype=int)
    mu = np.sqrt(1 - (sine[who] / index[0]) ** 2)
    z = np.zeros(who.size)
    weight = np.ones(who.size)
    virgin = np.ones(who.size, dtype=bool)
    left = -np.log(1 - rng.random(who.size))
    limit = np.sin(np.radians(cone))
    while who.size:
        room = np.where(mu > 0, depth[where] - z, z) / np.abs(mu)
        hits = left >= room
        z = np.where(hits, z, z + mu * left)
        left = np.where(hits, left - room, 0.0)
        # at a face: through it, or mirrored
        onward = np.where(mu > 0, where + 1, where - 1)
        sine = n[where] * np.sqrt(1 - mu * mu)
        far = n[onward]  # -1 and len(slabs) both mean air
        passes = hits & (rng.random(who.size) >= _faces(n[where], far, sine))
        above, below = (passes & (onward == end) for end in (-1, index.size))
        out["reflectance"][who[above]] += weight[above]
        out["transmittance"][who[below]] += weight[below]
        out["regular"][who[below & virgin]] += weight[below & virgin]
        seen = below & ~virgin & (sine < limit)
        out["headon"][who[seen]] += weight[seen] / limit**2
        inner = passes & ~above & ~below
        bent = np.sign(mu) * np.sqrt(np.clip(1 - (sine / far) ** 2, 0, None))
        mu = np.where(inner, bent, np.where(hits & ~passes, -mu, mu))
        where = np.where(inner, onward, where)
        z = np.where(hits, np.where(mu > 0, 0.0, depth[where]), z)
        # inside: a share is absorbed, the rest turns
        turns = ~hits
        weight = np.where(turns, weight * albedo[where], weight)
        mu = np.where(turns, _turned(mu, anisotropy[where], rng), mu)
        virgin &= ~turns
        left = np.where(turns, -np.log(1 - rng.random(who.size)), left)
        # roulette
        weak = (weight < 0.05) & turns
        lives = ~weak | (rng.random(who.size) < 0.2)
        weight = np.where(weak, weight * 5, weight)
        stays = ~above & ~below & lives & (weight > 0)
        who, where, mu, z = who[stays], where[stays], mu[stays], z[stays]
        weight, virgin, left = weight[stays], virgin[stays], left[stays]
    return {
        name: (values.mean(), values.std() / np.sqrt(count))
        for name, values in out.items()
    }


def _faces(n1, n2, sine):
    m1 = np.sqrt(np.clip(1 - (sine / n1) ** 2, 0, None))
    m2 = np.sqrt(np.clip(1 - (sine / n2) ** 2, 0, None))
    with np.errstate(divide="ignore", invalid="ignore"):
        rs = (n1 * m1 - n2 * m2) / (n1 * m1 + n2 * m2)
        rp = (n1 * m2 - n2 * m1) / (n1 * m2 + n2 * m1)
    return np.where(sine < n2, (rs * rs + rp * rp) / 2, 1.0)


def _turned(mu, g, rng):
    x = rng.random(mu.size)
    safe = np.where(g == 0, 1.0, g)
    peaked = 1 + g * g - ((1 - g * g) / (1 - g + 2 * g * x)) ** 2
    cosine = np.where(g == 0, 2 * x - 1, peaked / (2 * safe))
    azimuth = 2 * np.pi * rng.random(mu.size)
    across = np.sqrt(np.clip((1 - cosine**2) * (1 - mu**2), 0, None))
    return np.clip(mu * cosine + across * np.cos(azimuth), -1, 1)
