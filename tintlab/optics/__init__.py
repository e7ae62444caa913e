"""Light in stacks of slabs, films and boxes: pure functions on arrays.

Knows no file and no colour. Wavelength is always the last axis; optical depths are
Napierian, absorbances decadic (a factor ln 10 apart).
"""

from tintlab.optics.bands import broadened, gaussian_bands, log_normal_band, shifted
from tintlab.optics.cavity import (
    beam_exponent,
    box_reflectance,
    direct_light,
    direct_light_within,
    irradiance,
    recycled_transmittance,
)
from tintlab.optics.coats import (
    coats_absorbance,
    patchy_transmittance,
    uneven_transmittance,
)
from tintlab.optics.fresnel import (
    diffuse_reflectance,
    normal_reflectance,
    oblique_reflectance,
)
from tintlab.optics.stack import (
    Fluxes,
    Slab,
    Solution,
    fluxes,
    headon_trusted,
    solve,
)

__all__ = [
    "Fluxes",
    "Slab",
    "Solution",
    "beam_exponent",
    "box_reflectance",
    "broadened",
    "coats_absorbance",
    "diffuse_reflectance",
    "direct_light",
    "direct_light_within",
    "fluxes",
    "gaussian_bands",
    "headon_trusted",
    "irradiance",
    "log_normal_band",
    "normal_reflectance",
    "oblique_reflectance",
    "patchy_transmittance",
    "recycled_transmittance",
    "shifted",
    "solve",
    "uneven_transmittance",
]
