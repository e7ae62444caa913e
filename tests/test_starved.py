"""Bands a light has almost nothing of: chosen runs, shipped lights, and in words."""

import numpy as np
import pytest

from tintlab.errors import SpectrumError
from tintlab.shelf import shelf_for
from tintlab.spectrum import WAVELENGTHS
from tintlab.starved import starved_bands, starved_words


def dark(*runs):
    """A light of 1 everywhere but in the runs (first, last), where it is 0.04."""
    power = np.ones(401)
    for first, last in runs:
        power[(first <= WAVELENGTHS) & (last >= WAVELENGTHS)] = 0.04
    return power


def test_starved_bands_are_the_dark_runs():
    power = dark((380, 429), (641, 780))
    power[(WAVELENGTHS >= 500) & (WAVELENGTHS <= 520)] = 0
    power[WAVELENGTHS > 640] = 0.049
    assert starved_bands(power) == ((400, 429), (500, 520), (641, 700))
    assert starved_bands(power, threshold=0.01) == ((500, 520),)
    assert starved_words(power) == (
        "this light has almost nothing below 430 nm and from 500 to 520 nm and above "
        "640 nm"
    )


def test_a_light_with_some_of_everything_has_none():
    assert starved_bands(np.ones(401)) == ()
    assert starved_words(np.ones(401)) == "this light has some of every colour"


def test_the_peak_that_counts_lies_within_400_to_700():
    power = np.where(WAVELENGTHS > 700, 1000.0, 1.0)
    assert starved_bands(power) == ()


def test_narrow_bands_are_passed_over_from_end_to_end():
    power = dark((450, 464), (500, 515), (600, 600))
    assert starved_bands(power) == ((450, 464), (500, 515), (600, 600))
    assert starved_bands(power, narrowest=15) == ((500, 515),)
    assert starved_words(power, narrowest=15) == (
        "this light has almost nothing from 500 to 515 nm"
    )


def test_starved_bands_of_known_lights():
    shelf = shelf_for()
    amber = starved_bands(shelf.find("emitters", "amber").power, narrowest=15)
    assert amber[0][0] == 400
    assert amber[-1][1] == 700
    white = starved_bands(shelf.find("emitters", "white 4100 K").power, narrowest=15)
    assert all(high < 430 for _, high in white)


@pytest.mark.parametrize(
    ("power", "words"),
    [
        (np.ones(81), "interpolate the light first"),
        (-np.ones(401), "below 0"),
        (np.full(401, np.nan), "mend those rows"),
        (np.where(WAVELENGTHS > 720, 1, 0), "visible light"),
    ],
)
def test_what_is_no_light_is_refused(power, words):
    with pytest.raises(SpectrumError, match=words):
        starved_bands(power)
