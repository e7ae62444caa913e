"""A small renderer for the invented props of the demos: numpy and Pillow only.

Shapes are signed distances [cm], found by sphere tracing (Hart 1996). A key light with
soft shadows, a sky with occlusion, a mirror image of a procedural room; then what a
phone adds: noise, a soft corner fall-off, sRGB, JPEG. The unlit inset is dark, glossy
resin. Each scene gives the photo and a mask that is white where its insets are.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

FINER = 1.3  # samples per pixel, both ways
EXIF = 0x8769


@dataclass
class Look:
    """What a surface is made of, for every point that was hit."""

    colour: np.ndarray  # (n, 3) linear reflectance
    gloss: np.ndarray  # (n,) strength of the mirror image
    rough: np.ndarray  # (n,) 0 sharp to 1 dull
    bump: np.ndarray | None = None  # (n, 3) added to the normal


@dataclass
class Scene:
    """A prop: distances, looks, and where its insets are."""

    distance: object  # points (n, 3) -> (n,)
    look: object  # points -> Look
    inset: object  # points -> bool, on the surface
    eye: tuple
    aim: tuple
    zoom: float
    key: tuple = (-0.55, 0.75, 0.55)
    key_colour: tuple = (2.6, 2.45, 2.25)
    sky: tuple = (0.42, 0.46, 0.52)
    ground: tuple = (0.16, 0.13, 0.11)
    softness: float = 7.0
    exposure: float = 1.0
    far: float = 400.0
    seed: int = 1
    shot: dict = field(default_factory=dict)


# ------------------------------------------------------------------ distances


def length(p):
    """Length of vectors, (n,)."""
    return np.sqrt(np.einsum("ij,ij->i", p, p))


def box(p, half, round_=0.0):
    """A box about the origin with rounded edges."""
    q = np.abs(p) - (np.asarray(half, dtype=np.float32) - round_)
    outside = np.sqrt((np.maximum(q, 0) ** 2).sum(axis=1))
    return outside + np.minimum(q.max(axis=1), 0) - round_


def sphere(p, r):
    """A ball about the origin."""
    return length(p) - r


def cylinder(p, r, h, round_=0.0, axis=1):
    """A cylinder about an axis, h its half height."""
    across = [i for i in range(3) if i != axis]
    d = np.hypot(p[:, across[0]], p[:, across[1]]) - (r - round_)
    e = np.abs(p[:, axis]) - (h - round_)
    outside = np.hypot(np.maximum(d, 0), np.maximum(e, 0))
    return outside + np.minimum(np.maximum(d, e), 0) - round_


def cone(p, low, high, h, round_=0.0):
    """A round frustum about y, half height h, radii at bottom and top."""
    t = np.clip((p[:, 1] + h) / (2 * h), 0, 1)
    r = low + (high - low) * t
    d = (np.hypot(p[:, 0], p[:, 2]) - r + round_) * np.cos(
        np.arctan2(low - high, 2 * h)
    )
    e = np.abs(p[:, 1]) - h + round_
    outside = np.hypot(np.maximum(d, 0), np.maximum(e, 0))
    return outside + np.minimum(np.maximum(d, e), 0) - round_


def capsule(p, a, b, r):
    """A rod with round ends."""
    a, b = (np.asarray(v, dtype=np.float32) for v in (a, b))
    along = b - a
    t = np.clip((p - a) @ along / (along @ along), 0, 1)
    return length(p - a - t[:, None] * along) - r


def torus(p, big, small, axis=1):
    """A ring about an axis."""
    across = [i for i in range(3) if i != axis]
    d = np.hypot(p[:, across[0]], p[:, across[1]]) - big
    return np.hypot(d, p[:, axis]) - small


def ellipsoid(p, radii):
    """An ellipsoid (bound of Quilez)."""
    radii = np.asarray(radii, dtype=np.float32)
    k0, k1 = length(p / radii), length(p / radii**2)
    return k0 * (k0 - 1) / np.maximum(k1, 1e-6)


def blend(a, b, k):
    """Union with a smooth seam of width k."""
    h = np.clip(0.5 + 0.5 * (b - a) / k, 0, 1)
    return b + (a - b) * h - k * h * (1 - h)


def carve(a, b, k):
    """Cut b out of a, with a smooth seam."""
    return -blend(-a, b, k)


def turned(p, angle, axis=1):
    """Turn points about an axis. [deg]"""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    q = p.copy()
    q[:, i], q[:, j] = c * p[:, i] - s * p[:, j], s * p[:, i] + c * p[:, j]
    return q


def nearest(found):
    """Number of the nearest of named distances, for each point."""
    return np.argmin(np.stack(list(found.values())), axis=0)


def mixed(a, b, share):
    """From colour a to colour b by a share for each point, (n, 3)."""
    share = np.asarray(share)[:, None]
    return np.asarray(a) * (1 - share) + np.asarray(b) * share


def paint(found, p, coats):
    """Lay coats on parts: name: (colour, gloss, rough, bump height or None).

    Colours and heights may be functions of the points.
    """
    which, names = nearest(found), list(found)
    colour, bump = np.zeros_like(p), np.zeros_like(p)
    gloss, rough = np.zeros(len(p), np.float32), np.ones(len(p), np.float32)
    for name, (rgb, shine, dull, height) in coats.items():
        here = which == names.index(name)
        if not here.any():
            continue
        q = p[here]
        colour[here] = rgb(q) if callable(rgb) else rgb
        gloss[here], rough[here] = shine, dull
        if height is not None:
            bump[here] = slope(height, q)
    return Look(colour=colour, gloss=gloss, rough=rough, bump=bump)


# ---------------------------------------------------------------------- noise


def noise(p, seed=0):
    """Smooth value noise, -1 to 1."""
    cell = np.floor(p).astype(np.int64)
    f = p - cell
    f = f * f * (3 - 2 * f)
    total = np.zeros(len(p), dtype=np.float32)
    for i in (0, 1):
        for j in (0, 1):
            for k in (0, 1):
                n = (cell[:, 0] + i) * 73856093 ^ (cell[:, 1] + j) * 19349663
                n = (n ^ (cell[:, 2] + k) * 83492791 ^ seed * 2654435761) & 0x7FFFFFFF
                n = (n ^ (n >> 13)) * 1274126177 & 0x7FFFFFFF
                n = (n ^ (n >> 16)) & 0xFFFF
                w = (f[:, 0] if i else 1 - f[:, 0]) * (f[:, 1] if j else 1 - f[:, 1])
                total += w * (f[:, 2] if k else 1 - f[:, 2]) * (n / 32767.5 - 1)
    return total


def fractal(p, octaves=4, seed=0):
    """Noise of noise, about -1 to 1."""
    total, size = np.zeros(len(p), dtype=np.float32), 0.5
    for i in range(octaves):
        total += size * noise(p * np.float32(2**i), seed + i)
        size /= 2
    return total


def slope(height, p, step=0.02):
    """Gradient of a height function, for bumps."""
    base = height(p)
    parts = []
    for i in range(3):
        q = p.copy()
        q[:, i] += step
        parts.append((height(q) - base) / step)
    return np.stack(parts, axis=1)


# -------------------------------------------------------------------- tracing


def unit(v):
    """Vectors of length 1."""
    v = np.asarray(v, dtype=np.float32)
    return v / np.maximum(np.sqrt((v * v).sum(axis=-1, keepdims=True)), 1e-9)


def march(scene, start, way, far, steps=110, near=0.0):
    """Follow rays to the first surface; infinite where there is none."""
    t = np.full(len(start), near, dtype=np.float32)
    found = np.full(len(start), np.inf, dtype=np.float32)
    alive = np.arange(len(start))
    for _ in range(steps):
        if not alive.size:
            break
        d = scene.distance(start[alive] + t[alive, None] * way[alive])
        hit = d < 0.0012 * np.maximum(t[alive] * 0.02, 0.4)
        found[alive[hit]] = t[alive[hit]]
        t[alive] += 0.9 * d
        alive = alive[~hit & (t[alive] < far)]
    return found


def shade_of(scene, p, way, softness):
    """Soft shadow: the share of a light that is seen (Quilez)."""
    share = np.ones(len(p), dtype=np.float32)
    t = np.full(len(p), 0.15, dtype=np.float32)
    alive = np.arange(len(p))
    for _ in range(36):
        if not alive.size:
            break
        d = scene.distance(p[alive] + t[alive, None] * way)
        share[alive] = np.minimum(share[alive], np.clip(softness * d / t[alive], 0, 1))
        t[alive] += np.clip(d, 0.08, 6.0)
        alive = alive[(share[alive] > 0.005) & (t[alive] < 90)]
    return share * share * (3 - 2 * share)


def openness(scene, p, n):
    """Ambient occlusion from five samples along the normal."""
    total = np.zeros(len(p), dtype=np.float32)
    for i in range(1, 6):
        h = 0.28 * i * i * 0.45
        total += np.clip(h - scene.distance(p + h * n), 0, None) / h * 0.55**i
    return np.clip(1 - 1.15 * total, 0.05, 1)


def normals(scene, p):
    """Normals by a tetrahedron of samples."""
    e = 0.012
    k = np.array([(1, -1, -1), (-1, -1, 1), (-1, 1, -1), (1, 1, 1)], dtype=np.float32)
    return unit(sum(v * scene.distance(p + e * v)[:, None] for v in k))


def room(way, rough):
    """What a shiny surface mirrors: a window, a lamp panel, a dim hall."""
    up = np.clip(way[:, 1] * 0.5 + 0.5, 0, 1)[:, None]
    dim = np.array([0.10, 0.105, 0.115]) + up * np.array([0.30, 0.32, 0.35])

    def panel(at, across, wide, high, blur):
        at, across = unit(at), unit(across)
        down = np.cross(across, at)
        facing = way @ at
        x = np.abs(way @ across) / np.maximum(facing, 1e-3) - wide
        y = np.abs(way @ down) / np.maximum(facing, 1e-3) - high
        edge = 0.02 + blur
        inside = 1 / (1 + np.exp(np.clip(np.maximum(x, y) / edge, -30, 30)))
        return np.where(facing > 0.05, inside, 0)[:, None]

    blur = 0.5 * rough
    light = panel((-0.6, 0.62, 0.6), (1, 0, 1), 0.26, 0.36, blur)
    strip = panel((0.75, 0.5, 0.35), (0.3, 0, -1), 0.10, 0.75, blur)
    door = panel((0.40, -0.20, 0.89), (1, 0.12, -0.4), 0.05, 0.5, blur)
    light = light + 0.22 * door
    return dim + light * np.array([4.2, 4.1, 3.9]) + strip * np.array([1.3, 1.35, 1.5])


def render(scene, width, height):
    """Trace a scene; linear light (height, width, 3) and coverage by insets."""
    w, h = round(width * FINER), round(height * FINER)
    eye, aim = (np.asarray(v, dtype=np.float32) for v in (scene.eye, scene.aim))
    ahead = unit(aim - eye)
    right = unit(np.cross(ahead, (0, 1, 0)))
    up = np.cross(right, ahead)
    x = (np.arange(w) + 0.5 - w / 2) / h
    y = (h / 2 - np.arange(h) - 0.5) / h
    light = np.zeros((h, w, 3), dtype=np.float32)
    covered = np.zeros((h, w), dtype=np.float32)
    for top in range(0, h, 160):
        rows = y[top : top + 160]
        way = unit(
            scene.zoom * ahead + x[None, :, None] * right + rows[:, None, None] * up
        ).reshape(-1, 3)
        start = np.broadcast_to(eye, way.shape).astype(np.float32)
        t = march(scene, start, way, scene.far, near=0.1)
        band = np.zeros_like(way)
        hit = np.isfinite(t)
        if hit.any():
            p = start[hit] + t[hit, None] * way[hit]
            band[hit], inside = shaded(scene, p, way[hit])
            cover = np.zeros(len(way), dtype=np.float32)
            cover[hit] = inside
            covered[top : top + len(rows)] = cover.reshape(len(rows), w)
        light[top : top + len(rows)] = band.reshape(len(rows), w, 3)
    return light, covered


def shaded(scene, p, way):
    """Light that points send to the camera, and which of them are inset."""
    n = normals(scene, p)
    n = np.where((n * way).sum(axis=1, keepdims=True) > 0, -n, n)
    look = scene.look(p)
    inside = scene.inset(p)
    bent = n if look.bump is None else unit(n - look.bump + 0)
    bent = np.where((bent * way).sum(axis=1, keepdims=True) > 0, n, bent)
    key = unit(scene.key)
    lit = np.clip(bent @ key, 0, None)
    towards = lit > 0.01
    start = p[towards] + 0.03 * n[towards]
    lit[towards] *= shade_of(scene, start, key, scene.softness)
    open_ = openness(scene, p, n)
    sky = 0.5 + 0.5 * bent[:, 1:2]
    around = np.asarray(scene.sky) * sky + np.asarray(scene.ground) * (1 - sky)
    facing = np.clip(-(bent * way).sum(axis=1), 0.02, 1)
    fill = 0.10 * np.clip(-(bent * way).sum(axis=1), 0, 1)[:, None]
    light = look.colour * (
        lit[:, None] * np.asarray(scene.key_colour) * 0.33
        + open_[:, None] * (around + fill)
    )
    fresnel = look.gloss + (1 - look.gloss) * (1 - facing) ** 5 * (1 - look.rough) * 0.8
    mirror = way - 2 * (way * bent).sum(axis=1, keepdims=True) * bent
    shine = room(mirror, look.rough) * (fresnel * (0.35 + 0.65 * open_))[:, None]
    return light + shine, inside


# ---------------------------------------------------------------- as a photo


def photograph(scene, folder, *, width=900, height=1200, mask=None, quality=86):
    """Render a scene and save it as a phone would: prop.jpg and its mask."""
    light, covered = render(scene, width, height)
    random = np.random.default_rng(scene.seed)
    planes = [
        np.asarray(
            Image.fromarray(plane).resize((width, height), Image.Resampling.LANCZOS)
        )
        for plane in (*np.moveaxis(light, -1, 0), covered)
    ]
    linear = np.maximum(np.stack(planes[:3], axis=-1), 0) * scene.exposure
    rows, columns = np.mgrid[:height, :width]
    away = (
        np.hypot(rows - height / 2, columns - width / 2) / np.hypot(height, width) * 2
    )
    linear = linear * (1 - 0.28 * away**2)[..., None]
    grain = random.standard_normal(linear.shape) + random.standard_normal(
        (height, width, 1)
    )
    linear = linear + 0.0055 * np.sqrt(linear + 0.01) * grain
    linear = np.where(linear > 0.8, 1 - 0.2 * np.exp(-(linear - 0.8) / 0.2), linear)
    x = np.clip(linear, 0, 1)
    # IEC 61966-2-1
    code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    data = Image.Exif()
    data[0x010E] = "rendered prop, invented"
    data.get_ifd(EXIF).update(scene.shot)
    picture = Image.fromarray((255 * code + 0.5).astype(np.uint8))
    folder = Path(folder)
    picture.save(folder / "prop.jpg", quality=quality, exif=data, optimize=True)
    print(f"wrote {folder / 'prop.jpg'}: mean of linear light {x.mean():.3f}")
    if mask is not None:
        white = np.clip(planes[3], 0, 1)
        Image.fromarray((255 * white + 0.5).astype(np.uint8)).save(
            folder / mask, optimize=True
        )
        print(f"wrote {folder / mask}")
