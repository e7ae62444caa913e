"""What is asked of the film search, and what it refuses."""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_Lab, spectrum_to_XYZ
from tintlab.errors import ModelError, SpectrumError
from tintlab.solve.front import Combination
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]


class Task(NamedTuple):
    """What is asked; films become (n_inks * n_coats, 401) when checked."""

    power: Array  # (401,)
    films: Array  # (n_inks, n_coats, 401)
    most_inks: int
    target: Array  # (3,) Lab, at the common lightness when that is free
    lightness: str
    veil: Array  # (3,)
    min_light_kept: float
    reference_Y: float
    floor: Array | None  # (401,)
    exact: Callable[[list[Combination]], ArrayLike] | None
    distance: Callable[[Array], ArrayLike] | None
    n_inks: int = 0
    n_coats: int = 0


def need(right: bool, sentence: str) -> None:
    """Refuse with a sentence what is not right."""
    if not right:
        raise ModelError(sentence)


def checked(task: Task) -> Task:
    """Refuse what cannot be answered; bring the target to the common lightness."""
    n = WAVELENGTHS.size
    floor = np.ones(n) if task.floor is None else task.floor
    shapes = {*task.films.shape[2:], *task.power.shape, *floor.shape}
    if task.films.ndim != 3 or shapes != {n}:
        raise SpectrumError(
            f"asked to combine films of shape {task.films.shape}, a light of shape "
            f"{task.power.shape} and a floor of shape {floor.shape}; give "
            f"(inks, coats, {n}), ({n},) and ({n},) on 380-780 nm"
        )
    limits = {"power": np.inf, "films": 1.0, "floor": 1.0, "veil": np.inf}
    for name, values in (*task._asdict().items(), ("floor", floor)):
        if name in limits and values is not None:
            need(
                bool(
                    (
                        np.isfinite(values) & (values >= 0) & (values <= limits[name])
                    ).all()
                ),
                f"asked with {name} outside 0 to {limits[name]:g}; mend those values",
            )
    need(
        (task.floor is None) == (task.exact is None),
        "asked with only one of floor and exact; give both or neither",
    )
    need(
        task.lightness in ("free", "match"),
        f'asked for lightness "{task.lightness}"; choose "free" or "match"',
    )
    need(1 <= task.most_inks <= 4, f"asked for up to {task.most_inks} inks; choose 1-4")
    need(
        task.target.shape == task.veil.shape == (3,),
        "asked with a target or veil that has not three values; give L, a, b; X, Y, Z",
    )
    need(
        bool(np.isfinite(task.target).all() and task.target[0] > 0),
        "asked for a target without lightness; give an L* above 0",
    )
    need(
        bool(0 < spectrum_to_XYZ(task.power)[1] < np.inf and task.reference_Y > 0),
        "asked to filter a light that has no luminance; give one that shines",
    )
    target = task.target
    if task.lightness == "free" and target[0] < 50:
        XYZ = Lab_to_XYZ(target)
        target = XYZ_to_Lab(XYZ / XYZ[1] * Lab_to_XYZ([50.0, 0, 0])[1])
    n_inks, n_coats = task.films.shape[:2]
    return task._replace(
        films=task.films.reshape(n_inks * n_coats, n),
        target=np.round(target, 10),  # keeps a neutral target neutral
        most_inks=min(task.most_inks, n_inks),
        n_inks=n_inks,
        n_coats=n_coats,
    )
