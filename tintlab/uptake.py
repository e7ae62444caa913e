"""How much dye a clear sheet takes up in a hot bath.

The dye diffuses from each dyed face (Fickian, constant surface concentration), so the
absorbance of a face grows with the square root of time and levels off when the sheet
is full. It does not scale with sheet thickness until then. Swelling, a bath that runs
out of dye, and a surface that takes its time are left out.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

TERMS = 200  # of the series; its first term left out is below 1e-6 from 0.1 s on


def sheet_absorbance(
    *,
    minutes: ArrayLike,
    rate: ArrayLike,
    saturation: ArrayLike,
    thickness: ArrayLike,
    faces: int = 2,
) -> NDArray[np.float64]:
    """Peak absorbance of a sheet across its whole thickness.

    Parameters
    ----------
    minutes : array_like
        Time in the bath. [min]
    rate : array_like
        Peak absorbance per face and square root of minute, at first. [1/sqrt(min)]
    saturation : array_like
        Peak absorbance per mm when no more goes in. [1/mm]
    thickness : array_like
        Of the sheet. [mm]
    faces : int
        2, or 1 with a masked back.

    Returns
    -------
    ndarray
        Decadic. [-]

    Notes
    -----
    For a plane sheet of thickness l dyed on both faces (Crank, The Mathematics of
    Diffusion, 2nd ed. 1975, eq. 4.18; at short times eq. 4.20):

    M_t / M_inf = 1 - sum 8 / ((2n+1)^2 pi^2) exp(-D (2n+1)^2 pi^2 t / l^2)
                ~ 4 sqrt(D t / (pi l^2))

    A masked back is the mirror plane of a sheet of twice the thickness. The
    equation numbers are from memory.
    """
    full = np.asarray(saturation, dtype=float) * np.asarray(thickness, dtype=float)
    length = np.asarray(thickness, dtype=float) * (2 if faces == 1 else 1)
    D = np.pi / 4 * (np.asarray(rate, dtype=float) / saturation) ** 2
    time = D * np.asarray(minutes, dtype=float) / length**2
    odd = 2 * np.arange(TERMS) + 1.0
    series = (
        8 / (odd * np.pi) ** 2 * np.exp(-((odd * np.pi) ** 2) * time[..., None])
    ).sum(axis=-1)
    early = 4 * np.sqrt(time / np.pi)
    return full * np.where(time < 0.01, early, 1 - series)
