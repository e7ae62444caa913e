"""The exposure card: how far to step down so that the glow keeps its colour.

A channel that is full says nothing any more, so a burnt-out glow comes out whitish or
in another hue. The card lists steps below the chosen exposure, what is burnt out at
each, and the shutter time, by the camera's own data in the photo or, without them, by
the saturation-based speed of ISO 12232.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab.proof.camera import longest_time
from tintlab.proof.photo_scene import Scene

Array = NDArray[np.float64]

THIRDS = 3  # steps of a camera in a stop
ISO, APERTURE = 100.0, 2.0  # assumed when the photo does not say; common for phones
MOST_ROWS = 8
FREQUENCIES = (50, 60)  # of the mains [Hz]; lamps on it flicker twice as fast


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One row of the card.

    Attributes
    ----------
    stops : float
        Against the photo's own exposure.
    seconds : float
        Shutter time at the card's sensitivity and f-number.
    burnt : tuple of float
        Share of the face at which red, green and blue are full, 0 to 1.
    """

    stops: float
    seconds: float
    burnt: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureCard:
    """What to set on the camera.

    Attributes
    ----------
    clear : float
        Highest exposure, in thirds of a stop against the photo's own, at which no
        channel of the glow is full.
    first_full : str
        The channel that fills first.
    seconds : float
        Longest shutter time for that at `iso` and `aperture`.
    iso, aperture : float
    noted : bool
        Whether the shutter times start from the photo's own exposure data.
    shutters : tuple of float
        Times that catch whole flickers of mains lamps and are short enough; empty
        when none is.
    steps : tuple of Step
        From the chosen exposure down to the clear one.
    beyond : bool
        Whether the glow leaves the colours of the picture even then.
    photo_lux : float or None
        Illuminance that the photo's exposure data speak of. [lx]
    """

    clear: float
    first_full: str
    seconds: float
    iso: float
    aperture: float
    noted: bool
    shutters: tuple[float, ...]
    steps: tuple[Step, ...]
    beyond: bool
    photo_lux: float | None


def exposure_card(scene: Scene) -> ExposureCard:
    """Work out the card of a scene for its phone version."""
    level = _levels(scene, scene.peak[3:])
    clear = float(np.floor(-THIRDS * np.log2(level.max()) + 1e-9)) / THIRDS
    shot = scene.picture.shot
    noted = None not in (shot.seconds, shot.iso, shot.aperture)
    iso, aperture = shot.iso or ISO, shot.aperture or APERTURE
    white = scene.unit  # cd/m2 that fill the sensor at the photo's own exposure
    own = longest_time(luminance=white, iso=iso, aperture=aperture)
    if noted and shot.seconds is not None:
        own = shot.seconds
    longest = own * 2.0**clear
    after = scene.set_camera
    lights = after.matrix @ (after.gains / scene.camera.gains * scene.peak[3:])
    return ExposureCard(
        clear=clear,
        first_full=("red", "green", "blue")[int(level.argmax())],
        seconds=longest,
        iso=iso,
        aperture=aperture,
        noted=noted,
        shutters=flicker_free(longest),
        steps=_steps(scene, clear, own),
        beyond=bool((lights < -0.01 * lights.max()).any()),
        photo_lux=_lux(scene),
    )


def _levels(scene: Scene, raw: Array) -> Array:
    """Fill of each channel on the sensor or after the balance, whichever is higher."""
    on_sensor = raw.T / scene.camera.gains
    return np.asarray(np.maximum(on_sensor, on_sensor * scene.set_camera.gains).T)


def _steps(scene: Scene, clear: float, own: float) -> tuple[Step, ...]:
    """Rows from the chosen exposure down to the clear one, whole stops apart."""
    faces = [p.glow[3:][:, p.coverage > 0.99].astype(float) for p in scene.patches]
    fill = _levels(scene, np.concatenate(faces, axis=1))
    top = max(scene.exposure, clear)
    apart = max(1.0, float(np.ceil((top - clear) / (MOST_ROWS - 1))))
    stops = [*np.arange(top, clear + 0.2, -apart), clear]
    rows = []
    for stop in dict.fromkeys(float(s) for s in stops):
        burnt = (fill * 2.0**stop > 1 + 1e-6).mean(axis=1) if fill.size else np.zeros(3)
        if stop == clear:
            burnt = np.zeros(3)
        rows.append(
            Step(
                stops=stop,
                seconds=own * 2.0**stop,
                burnt=(float(burnt[0]), float(burnt[1]), float(burnt[2])),
            )
        )
    return tuple(rows)


def flicker_free(longest: float) -> tuple[float, ...]:
    """Shutter times of one to four whole flickers of mains lamps, if short enough.

    Lamps on the mains flicker at twice its frequency, 100 or 120 Hz, and a shutter
    that is open for whole flickers sees all alike (common practice).
    """
    times = {n / (2 * f) for f in FREQUENCIES for n in (1, 2, 4)}
    return tuple(sorted(t for t in times if t <= longest))


def _lux(scene: Scene) -> float | None:
    """Illuminance of the photo by its exposure data, if white is just below full."""
    shot = scene.picture.shot
    if shot.seconds is None or shot.iso is None or shot.aperture is None:
        return None
    filled = longest_time(luminance=1.0, iso=shot.iso, aperture=shot.aperture)
    return float(np.pi * scene.white * filled / shot.seconds)
