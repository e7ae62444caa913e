"""Records of the shelf turned into spectra: by hand, by identity, by a library."""

from dataclasses import FrozenInstanceError, replace

import colour
import numpy as np
import pytest
from published import Published, published

from tintlab.colourants import (
    Bottle,
    Dye,
    Ink,
    colourant_shape,
    dye_shape,
    dye_strength,
    dyes_of,
    shape_of,
    specific_absorbance,
    unmeasured,
)
from tintlab.errors import ShelfError
from tintlab.materials import (
    abbe_index,
    emitter_power,
    lobes_power,
    sellmeier_index,
)
from tintlab.shelf import open_shelf
from tintlab.spectrum import WAVELENGTHS, Source

HERE = Source(citation="for this test", kind="assumed")
FINE = np.arange(300.0, 1000.0, 0.05)  # [nm]


def dye(**changed):
    """A dye with one band: 500 nm, 3000 1/cm wide, E 625 (eps 25,000, M 400)."""
    given = {
        "name": "one band",
        "source": HERE,
        "dye_class": "azo",
        "hue": "red",
        "uses": ("ink",),
        "peak": 500.0,
        "form": "bands",
        "bands": np.array([[500.0, 2.0, 3000.0]]),
        "tabled": np.empty(0),
        "valid": (380.0, 780.0),
        "molar_absorptivity": 25_000.0,
        "molar_mass": 400.0,
    }
    return Dye(**{**given, **changed})


def half_points(curve):
    """The two wavelengths at half of the maximum. [nm]"""
    top = int(np.argmax(curve))
    rising, falling = curve[: top + 1], curve[top:]
    return (
        np.interp(curve[top] / 2, rising, FINE[: top + 1]),
        np.interp(-curve[top] / 2, -falling, FINE[top:]),
    )


# ------------------------------------------------------------------ published
CROWN = "borosilicate crown, glass code 517642, data sheet (from memory),"
B = [1.03961212, 0.231792344, 1.01046945]
C = [0.00600069867, 0.0200179144, 103.560653]
LINES = {"F": 486.13, "d": 587.56, "C": 656.27}  # [nm]


@published(
    Published(source=f"{CROWN} n_F", printed="1.52238", given={"line": "F"}),
    Published(source=f"{CROWN} n_d", printed="1.51680", given={"line": "d"}),
    Published(source=f"{CROWN} n_C", printed="1.51432", given={"line": "C"}),
)
def test_sellmeier_terms_of_a_glass(check):
    found = np.interp(
        LINES[check.given["line"]], WAVELENGTHS, sellmeier_index(B=B, C=C)
    )
    assert found == pytest.approx(check.expected, abs=check.half_digit)


def test_two_terms_go_through_index_and_abbe_number():
    for d, abbe in ((1.5168, 64.17), (1.55, 34.0), (1.4906, 57.4)):
        n = abbe_index(d=d, abbe=abbe)
        at = {name: np.interp(nm, WAVELENGTHS, n) for name, nm in LINES.items()}
        assert at["d"] == pytest.approx(d, abs=1e-6)
        assert (at["d"] - 1) / (at["F"] - at["C"]) == pytest.approx(abbe, rel=1e-3)
        assert (np.diff(n) < 0).all()


def test_two_terms_are_near_a_measured_glass():
    n = abbe_index(d=1.5168, abbe=64.17)
    assert np.abs(n - sellmeier_index(B=B, C=C)).max() < 1.5e-3


# -------------------------------------------------------------------- emitters
LOBES = [[592.0, 15.0, 1.0, 0.1, -0.01], [630.0, 20.0, 0.5, 0.2, 0.0]]


def test_a_lobe_is_the_librarys_gaussian():
    shape = colour.SpectralShape(380, 780, 1)
    wanted = colour.sd_gaussian(592, 15, shape, method="FWHM").values / 15
    assert lobes_power(LOBES[:1]) == pytest.approx(wanted, abs=1e-12)


def test_power_of_a_lobe_is_its_area_whatever_its_width():
    """Area of a Gaussian: height x FWHM x sqrt(pi / (4 ln 2)) = 1.06447 here."""
    for width in (5.0, 15.0, 40.0):
        found = lobes_power([[580.0, width, 2.0, 0.0, 0.0]]).sum()
        assert found == pytest.approx(2 * 1.064467, rel=1e-6)


def test_lobes_add():
    both = lobes_power(LOBES)
    assert both == pytest.approx(lobes_power(LOBES[:1]) + lobes_power(LOBES[1:]))


def test_heat_moves_and_weakens_each_lobe_by_hand():
    """30 K warmer: 592 + 3 nm at 1 - 0.3 of the power; 630 + 6 nm at all of it."""
    wanted = lobes_power([[595.0, 15.0, 0.7, 0, 0], [636.0, 20.0, 0.5, 0, 0]])
    assert lobes_power(LOBES, warmer=30.0) == pytest.approx(wanted)
    assert lobes_power(LOBES, shift=4.0) == pytest.approx(
        lobes_power([[596.0, 15.0, 1.0, 0, 0], [634.0, 20.0, 0.5, 0, 0]])
    )
    assert (lobes_power(LOBES[:1], warmer=500.0) == 0).all()  # never negative


def test_junction_temperature_counts_from_the_reference():
    amber = open_shelf().find("emitters", "amber")
    assert amber.reference_temperature == 25
    same = emitter_power(amber, junction=25.0)
    assert same == pytest.approx(emitter_power(amber), abs=1e-15)
    hot = emitter_power(amber, junction=85.0)
    assert hot == pytest.approx(lobes_power(amber.lobes, warmer=60.0))
    assert hot.sum() < same.sum()
    assert hot.argmax() > same.argmax()
    white = open_shelf().find("emitters", "white 4100 K")
    assert emitter_power(white, junction=85.0) is white.power


# ------------------------------------------------------------------- strength


def test_strength_by_hand():
    """E = 10 x 25,000 / 400 = 625; 1.2 g/L is 0.12 of 10 g/L, 1 mm a tenth of 1 cm."""
    assert specific_absorbance(dye()) == 625
    assert dye_strength(dye(), density=1.2) == pytest.approx(625 * 0.12 / 10)
    assert dye_strength(dye(), density=1.0) == pytest.approx(6.25)


def test_a_stated_specific_absorbance_comes_first():
    assert specific_absorbance(dye(specific_absorbance=540.0)) == 540


@pytest.mark.parametrize("missing", ["molar_absorptivity", "molar_mass"])
def test_a_dye_of_unknown_strength_says_what_is_missing(missing):
    with pytest.raises(ShelfError, match='strength of the dye "one band"; its file gi'):
        specific_absorbance(dye(**{missing: None}))


# --------------------------------------------------------------------- shapes


def test_a_band_by_hand():
    """500 nm is 20,000 1/cm; half of it at 18,500 and at 21,500 1/cm."""
    shape = dye_shape(dye(), wavelengths=[500.0, 1e7 / 18500, 1e7 / 21500])
    assert shape == pytest.approx([1.0, 0.5, 0.5], abs=1e-9)


def test_a_log_normal_band_has_its_width_and_skew():
    """Half-widths on the blue and the red side in the ratio of the skew. [1/cm]"""
    lone = dye(form="log-normal", width=3000.0, skew=1.5, floor=0.0)
    blue, red = half_points(dye_shape(lone, wavelengths=FINE))
    left, right = 1e7 / blue - 20_000, 20_000 - 1e7 / red
    assert left + right == pytest.approx(3000, rel=1e-3)
    assert left / right == pytest.approx(1.5, rel=2e-3)


def test_second_maximum_and_floor_of_a_log_normal_dye():
    whole = dye(
        form="log-normal", width=1500.0, skew=1.2, floor=0.1, second=(640.0, 0.4)
    )
    shape = dye_shape(whole, wavelengths=[500.0, 640.0, 400.0])
    assert shape == pytest.approx([1.0, 0.4, 0.1], abs=2e-3)


def test_a_tabled_dye_is_its_table():
    curve = np.exp(-(((WAVELENGTHS - 500) / 20) ** 2))
    tabled = dye(form="table", tabled=curve)
    assert dye_shape(tabled) == pytest.approx(curve)
    moved = dye_shape(tabled, shift=10.0)
    assert WAVELENGTHS[moved.argmax()] == 510
    wide = dye_shape(tabled, broadening=2.0)
    assert wide.max() == pytest.approx(0.5)
    assert wide.sum() == pytest.approx(curve.sum(), rel=0.01)


@pytest.mark.parametrize("name", open_shelf().names("dyes"))
def test_every_shipped_dye_has_its_maximum_at_1(name):
    shape = dye_shape(open_shelf().find("dyes", name), wavelengths=FINE)
    assert shape.max() == pytest.approx(1, abs=2e-3)
    assert shape.min() >= 0


def test_broadening_keeps_the_area_in_wavenumber():
    nu = np.linspace(8_000, 32_000, 20_000)
    curves = [
        dye_shape(dye(), broadening=wide, wavelengths=1e7 / nu) for wide in (1, 1.5)
    ]
    areas = [np.trapezoid(curve, nu) for curve in curves]
    assert areas[1] == pytest.approx(areas[0], rel=1e-4)
    assert curves[1].max() == pytest.approx(1 / 1.5, rel=1e-4)


def test_shift_moves_the_band_by_so_many_nm():
    for shift in (-20.0, 7.0):
        top = FINE[dye_shape(dye(), shift=shift, wavelengths=FINE).argmax()]
        assert top == pytest.approx(500 + shift, abs=0.06)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_leading_axes_of_shift_and_width_are_kept(shape):
    for one in (dye(), dye(form="log-normal", width=3000.0, skew=1.5)):
        found = dye_shape(one, shift=np.zeros(shape), broadening=np.ones(shape))
        assert found.shape == (*shape, 401)
        assert np.abs(found - dye_shape(one)).max() < 1e-12


# ------------------------------------------------------------ bottles and inks
BLUE_END = dye(name="left", bands=np.array([[430.0, 1.0, 800.0]]), peak=430.0)
RED_END = dye(name="right", bands=np.array([[650.0, 7.0, 800.0]]), peak=650.0)


def bottle(*dyes, **changed):
    given = {"name": "mix", "source": HERE, "hue": "any", "strength": 0.1}
    return Bottle(**{**given, "dyes": dyes, **changed})


def ink(*dyes, **changed):
    given = {"name": "ink", "source": HERE, "hue": "any", "peak_absorbance": 0.5}
    return Ink(**{**given, "dyes": dyes, **changed})


def test_shares_are_of_absorbance_at_each_dyes_own_maximum():
    mixed = colourant_shape(bottle((BLUE_END, 1.0), (RED_END, 0.25)))
    assert mixed[430 - 380] == pytest.approx(1.0, abs=1e-6)
    assert mixed[650 - 380] == pytest.approx(0.25, abs=1e-6)


def test_scale_and_order_of_shares_do_not_matter():
    first = colourant_shape(bottle((BLUE_END, 1.0), (RED_END, 0.25)))
    second = colourant_shape(bottle((RED_END, 2.5), (BLUE_END, 10.0)))
    assert first == pytest.approx(second, abs=1e-12)


def test_one_dye_in_a_bottle_is_that_dye():
    assert shape_of(bottle((dye(), 0.3))) == pytest.approx(shape_of(dye()), abs=1e-12)


def test_a_dry_film_is_broader_and_its_maximum_is_the_stated_one():
    plain, film = (colourant_shape(ink((dye(), 1.0), broadening=w)) for w in (1.0, 2.0))
    assert film.max() == plain.max() == pytest.approx(1, abs=1e-12)
    assert film.sum() > 1.6 * plain.sum()


@pytest.mark.parametrize("kind", ["bottles", "inks"])
def test_every_shipped_mixture_has_its_maximum_at_1(kind):
    for mixture in open_shelf().all(kind):
        assert colourant_shape(mixture).max() == pytest.approx(1, abs=1e-12)


def test_what_is_unmeasured():
    mixed = bottle((BLUE_END, 1.0), (RED_END, 1.0))
    assert unmeasured(mixed)
    assert not unmeasured(replace(mixed, grade="chipped"))
    assert not unmeasured(dye())
    assert [d.name for d in dyes_of(mixed)] == ["left", "right"]
    assert [d.name for d in dyes_of(dye())] == ["one band"]


def test_records_cannot_be_changed():
    with pytest.raises(FrozenInstanceError):
        dye().peak = 1.0
