"""A scene as the eye sees it, and as a phone records it."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import spectrum_to_XYZ, tables
from tintlab.proof import eye, photo_light
from tintlab.proof.camera import develop
from tintlab.proof.photo_light import Plane
from tintlab.proof.photo_render import Painting, painted
from tintlab.proof.photo_scene import GREY_FIELD, Scene
from tintlab.proof.photo_space import Codes

Array = NDArray[np.float64]

LEAST_KNEE = 0.25  # of the screen's white: what is darker is never lifted; set by eye
GLEAM = 0.38  # of the way to white that an endlessly bright glow takes; set by eye


def eye_version(scene: Scene, progress: Callable[[float], None]) -> Codes:
    """Paint the photo as an eye adapted to the room sees it.

    A screen cannot show how much brighter than white a glow is, so all else is dimmed
    by a part of what a camera's meter would take, and a dark room as dark as it looks
    (CIECAM16). The glow is adapted to the room's white as far as that goes (CIECAM16);
    the photo keeps its own white balance. What fits the screen keeps its colour, what
    does not its hue.
    """
    space = scene.picture.space
    gain = scene.eye_gain
    knee = max(gain, LEAST_KNEE)
    room = scene.wish.room
    adapted = eye.adaptation(
        spectrum_to_XYZ(room.power),
        tables().white,
        degree=eye.degree_of_adaptation(
            GREY_FIELD * room.illuminance / np.pi, surround=room.surround
        ),
    )
    to_light = np.asarray(gain * np.linalg.inv(space.to_XYZ) @ adapted)

    def finish(total: Plane, base: Plane) -> Plane:
        del base
        return gleaming(total, knee=knee, to_XYZ=space.to_XYZ)

    kernel = photo_light.eye_kernel(scene.grid, scene.degrees_per_pixel)
    return _painted(
        scene,
        Version(
            part=slice(0, 3),
            to_light=to_light,
            photo=gain * np.eye(3),
            gain=gain,
            kernel=kernel,
            finish=finish,
            limit=knee,
        ),
        progress,
    )


def phone_version(scene: Scene, progress: Callable[[float], None]) -> Codes:
    """Paint the photo as a phone records it, clipping where its sensor does."""
    before, after = scene.camera, scene.set_camera
    gain = 2.0**scene.exposure
    to_light = gain * after.matrix * (after.gains / before.gains)
    photo = gain * np.eye(3)
    if after is not before:
        photo = to_light @ np.linalg.inv(before.matrix)
    back = (np.linalg.inv(after.matrix) / after.gains[:, None]).astype(np.float32)

    def finish(total: Plane, base: Plane) -> Plane:
        raw, already = back @ total, back @ base
        return develop(raw.T, after, already=already.T).T.astype(np.float32)

    return _painted(
        scene,
        Version(
            part=slice(3, 6),
            to_light=to_light,
            photo=photo,
            gain=gain,
            kernel=photo_light.flare_kernel(scene.grid),
            finish=finish,
        ),
        progress,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Version:
    """What differs between eye and phone.

    Attributes
    ----------
    part : slice
        Its responses in the scene.
    to_light, photo : ndarray, shape (3, 3)
        From responses, and from the photo's colours, to those of this version.
    gain : float
        Exposure. [-]
    kernel : ndarray
        What its lens scatters.
    finish : callable
    limit : float
        As in `Painting`.
    """

    part: slice
    to_light: Array
    photo: Array
    gain: float
    kernel: Array
    finish: Callable[[Plane, Plane], Plane]
    limit: float = 1.0


def _painted(
    scene: Scene, version: Version, progress: Callable[[float], None]
) -> Codes:
    """Bring glow, spill and bloom to the picture's linear colours and paint."""
    matrix = version.to_light.astype(np.float32)
    stays = np.float32(1 - version.kernel.sum())
    glows = [
        (
            patch.place,
            patch.coverage,
            stays * np.tensordot(matrix, patch.glow[version.part], axes=1),
        )
        for patch in scene.patches
    ]
    light = [
        np.tensordot(version.to_light, one[version.part], axes=1) for one in scene.light
    ]
    spilt = photo_light.spill(light, scene.patches, scene.grid)
    bloom = photo_light.spread_out(np.sum(light, axis=0), version.kernel)
    white = scene.white * version.gain
    painting = Painting(
        gain=version.photo,
        spill=np.maximum(spilt / white, 0).astype(np.float32),
        white=white,
        bloom=bloom.astype(np.float32),
        glows=glows,
        finish=version.finish,
        limit=version.limit,
        grid=scene.grid,
    )
    return painted(scene.picture.codes, scene.picture.space, painting, progress)


def gleaming(light: Plane, *, knee: float, to_XYZ: Array) -> Plane:
    """Show what is brighter than the photo's white between that white and the screen's.

    Parameters
    ----------
    light : ndarray, shape (3, n)
        Linear colours of the picture.
    knee : float
        Where the photo's white has come to, or a little above; what is below is left
        alone. [-]
    to_XYZ : ndarray, shape (3, 3)

    Returns
    -------
    ndarray, shape (3, n)
        0 to 1.

    Notes
    -----
    What is too vivid loses chroma first (`eye.fitted`). With m the largest channel and
    k the knee, m becomes k + (1 - k) (1 - (m / k)^(-k / (1 - k))), which leaves the
    knee with slope 1 and ends at 1. Then the colour goes a share
    GLEAM (1 - (m / k)^(-1/3)) of the way to white in Oklab, at its hue. Our own curves,
    set by eye.
    """
    most = np.maximum(light.max(axis=0), 1e-6)
    over = np.maximum(most / knee, 1.0)
    power = -knee / (1 - knee) if knee < 1 else -np.inf
    shown = np.where(most > knee, knee + (1 - knee) * (1 - over**power), most)
    fitted = eye.fitted((light / np.maximum(most, 1)).T, to_XYZ=to_XYZ)
    fitted *= (shown / np.maximum(fitted.max(axis=1), 1e-6))[:, None]
    lift = GLEAM * (1 - over ** (-1 / 3))
    bright = lift > 0
    fitted[bright] = _lightened(fitted[bright], lift[bright], to_XYZ=to_XYZ)
    return fitted.T


def _lightened(light: NDArray[np.float32], share: Plane, *, to_XYZ: Array) -> Plane:
    """Bring colours, shape (n, 3), part of the way to white in Oklab."""
    to_cones = eye.OKLAB_CONES @ to_XYZ
    to_cones = to_cones / to_cones.sum(axis=1, keepdims=True)
    oklab = np.cbrt(light @ to_cones.T.astype("f4")) @ eye.OKLAB.T.astype("f4")
    oklab *= 1 - share[:, None]
    oklab[:, 0] += share
    cones = (oklab @ np.linalg.inv(eye.OKLAB).T.astype("f4")) ** 3
    return np.clip(cones @ np.linalg.inv(to_cones).T.astype("f4"), 0.0, 1.0)
