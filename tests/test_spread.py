"""Uncertainty: an analytic case, the limits, and what each cause does."""

from dataclasses import replace

import numpy as np
import pytest

from tintlab import spread
from tintlab.causes import Z95, Cause, blank, causes_of, draw_scales
from tintlab.colorimetry import XYZ_to_Lab, spectrum_to_XYZ
from tintlab.colourants import colourant_shape
from tintlab.glow import look, radiance, solve_piece, tint_depths
from tintlab.piece import piece_of
from tintlab.spread import plausible, spread_of

CAST = """
    [target]
    lab = [60, -20, -30]
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "white 4100 K"
    lumens = 5
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    thickness = "10 mm"
    batch = "100 g"
    dyes = [{{ bottle = "blue resin dye", dose = "{dose}" }}]
"""
SCATTERING = CAST.replace(
    "[[layer]]",
    '[[layer]]\n    kind = "diffuser"\n    diffuser = "opal sheet"\n    [[layer]]',
)


def prepared(inset):
    piece = piece_of(inset)
    return inset, piece, look(inset, piece=piece)


def test_log_normal_strength_gives_log_normal_light(inset_of):
    """Analytic: a grey tint of absorbance A e^(s z) keeps 10^-(A e^(s z)) of light."""
    inset, piece, _ = prepared(inset_of(CAST.format(dose="0.1 g")))
    grey = replace(piece.tints[0], shape=np.ones(401), absorbance=0.3)
    piece = replace(piece, tints=(grey,))
    seen = look(inset, piece=piece)
    only = [c for c in causes_of(inset, piece) if c.kind == "strength"]
    outcome = spread.outcomes(piece, seen)
    z = np.array([-Z95, 0.0, Z95])
    draw = only[0].move(blank(3, piece), z)
    kept = outcome(draw)[1]
    t = 10 ** -(0.3 * np.array([1 / 3, 1, 3]))
    R = ((1.55 - 1) / (1.55 + 1)) ** 2  # faces change the ratio in the third digit
    base = 10**-0.03
    expected = t * (1 - (R * base) ** 2) / (1 - (R * base * t) ** 2)
    np.testing.assert_allclose(kept, expected, rtol=2e-3)


def test_first_order_shares_of_a_linear_case(inset_of):
    """Two independent small causes share the variance as their squares: 4 to 1."""
    inset, piece, seen = prepared(inset_of(CAST.format(dose="0.1 g")))
    small = 0.01

    def cause(label, factor):
        return Cause(
            label=label,
            kind="dose",
            name=label,
            unmeasured=False,
            move=draw_scales([0], small * factor),
        )

    causes = [cause("large", 2), cause("little", 1)]
    outcome = spread.outcomes(piece, seen)
    shares = spread._alone(inset, piece, causes, outcome)
    assert shares[0] / shares[1] == pytest.approx(4, rel=0.02)


def test_nothing_uncertain_means_no_spread(inset_of):
    _, piece, seen = prepared(inset_of(CAST.format(dose="0.1 g")))
    outcome = spread.outcomes(piece, seen)
    XYZ, kept, ratio = outcome(blank(4, piece))
    np.testing.assert_allclose(XYZ, np.tile(seen.XYZ, (4, 1)), rtol=1e-9)
    np.testing.assert_allclose(kept, seen.light_kept, rtol=1e-9)
    np.testing.assert_allclose(ratio, 1, rtol=1e-9)


@pytest.mark.parametrize("text", [CAST, SCATTERING], ids=["clear", "scattering"])
def test_coarse_samples_agree_with_the_full_solution(inset_of, text):
    """The sampled outcome of a moved strength equals the piece solved at 1 nm."""
    _, piece, seen = prepared(inset_of(text.format(dose="0.1 g")))
    draw = blank(2, piece)
    draw = replace(
        draw,
        scale=np.array([[2.0], [0.5]]),
        shift=np.array([[6.0], [-6.0]]),
        broadening=np.array([[1.2], [0.9]]),
    )
    XYZ = spread.outcomes(piece, seen)(draw)[0] - seen.veil
    for row, scale, shift, wide in zip(
        XYZ, (2.0, 0.5), (6.0, -6.0), (1.2, 0.9), strict=True
    ):
        tint = piece.tints[0]
        shape = colourant_shape(tint.colourant, shift=shift, broadening=wide)
        moved = replace(tint, absorbance=tint.absorbance * scale, shape=shape)
        changed = replace(piece, tints=(moved,))
        depths, filters = tint_depths(changed)
        lit = radiance(changed, solve_piece(changed, depths), filters)
        exact = spectrum_to_XYZ(lit) / spectrum_to_XYZ(seen.undyed)[1]
        away = XYZ_to_Lab(row) - XYZ_to_Lab(exact)
        assert np.hypot(*away[1:]) < 0.8  # CIELAB; far below the spread itself


def test_same_seed_same_answer_and_another_seed_near_it(inset_of):
    inset, piece, seen = prepared(inset_of(CAST.format(dose="0.1 g")))
    one, two = (spread_of(inset, piece, seen, seed=7) for _ in range(2))
    other = spread_of(inset, piece, seen, seed=8)
    np.testing.assert_array_equal(one.XYZ, two.XYZ)
    first, second = (np.percentile(s.difference, [5, 50, 95]) for s in (one, other))
    np.testing.assert_allclose(first, second, rtol=0.2, atol=1.0)


def test_a_measured_bottle_narrows_the_spread(inset_of):
    inset, piece, seen = prepared(inset_of(CAST.format(dose="0.1 g")))
    wide = spread_of(inset, piece, seen)
    tint = piece.tints[0]
    known = replace(tint.colourant, spread=1.1, grade="laddered")
    piece = replace(piece, tints=(replace(tint, colourant=known),))
    narrow = spread_of(inset, piece, seen)

    def size(s):
        return float(s.Lab[:, 1:].var(axis=0).sum())

    assert size(narrow) < size(wide) / 2  # what is left is hue and purity of its dye
    assert wide.causes[0][0].kind == "strength"


def test_bin_of_a_white_led_is_a_disc_in_uv(inset_of):
    """n steps of 0.0011 in u'v' (CIE TN 001:2014, from memory); std is half of it."""
    from tintlab.colorimetry import XYZ_to_uv  # noqa: PLC0415

    _, piece, _ = prepared(inset_of(CAST.format(dose="0 g")))
    beam = piece.beams[0]
    tilt = np.array([[2.0, 0.0], [0.0, 2.0], [-2.0, 0.0]])
    power = spread.powers(beam.power, beam.light.emitter, tilt)
    away = XYZ_to_uv(spectrum_to_XYZ(power)) - XYZ_to_uv(spectrum_to_XYZ(beam.power))
    radius = beam.light.emitter.steps * 0.0011
    np.testing.assert_allclose(np.hypot(*away.T), radius, rtol=0.1)


def test_bin_of_a_single_colour_led_shifts_its_peak(inset_of):
    text = CAST.replace("white 4100 K", "green").format(dose="0 g")
    _, piece, _ = prepared(inset_of(text))
    beam = piece.beams[0]
    tilt = np.array([[1.0, 0.0], [-1.0, 0.0]])
    peaks = spread.powers(beam.power, beam.light.emitter, tilt).argmax(axis=1)
    expected = 2 * beam.light.emitter.peak_spread / np.sqrt(3)
    assert peaks[0] - peaks[1] == pytest.approx(expected, abs=1.01)


def test_fluorescent_dye_over_blue_light_widens_the_spread(inset_of):
    text = CAST.format(dose="0.1 g").replace('bottle = "blue resin dye"', 'dye = "{}"')
    plain = text.replace("1 g", "1 mg").replace("{}", "solvent red 24")
    own = text.replace("1 g", "1 mg").replace("{}", "rhodamine 6G")
    kinds = [
        {c.kind for c, _ in spread_of(*prepared(inset_of(t))).causes}
        for t in (plain, own)
    ]
    assert "own glow" in kinds[1]
    assert "own glow" not in kinds[0]


def test_plausible_outcomes_run_from_one_end_to_the_other(inset_of):
    inset, piece, seen = prepared(inset_of(CAST.format(dose="0.1 g")))
    found = spread_of(inset, piece, seen)
    ends = XYZ_to_Lab(plausible(found, (0.05, 0.5, 0.95)))
    apart = np.linalg.norm(ends[2] - ends[0])
    assert apart > np.linalg.norm(ends[1] - ends[0])
    assert apart > 20  # a factor of three of an unknown blue is plain to see
