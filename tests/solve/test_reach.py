"""The certified limit of a light: against published optimal colours, filters, sums."""

import colour
import numpy as np
import pytest
from colour.volume.datasets import OPTIMAL_COLOUR_STIMULI_ILLUMINANTS

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    delta_e_2000,
    hex_to_XYZ,
    illuminant,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import SpectrumError, TintlabError
from tintlab.solve import reach as module
from tintlab.solve.reach import (
    limit,
    max_light,
    optimal_colours,
    reach,
    smooth_estimate,
)
from tintlab.solve.slices import question_of
from tintlab.spectrum import WAVELENGTHS

WHITES = ("LED-B3", "LED-B1", "LED-RGB1")


def gaussian(peak, width):
    """A single-colour LED of a full width at half height, in nm (assumed shape)."""
    return np.exp(-4 * np.log(2) * ((WAVELENGTHS - peak) / width) ** 2)


def light(name):
    """A CIE illuminant by key, or "peak/width" for a Gaussian."""
    if "/" in name:
        return gaussian(*(float(part) for part in name.split("/")))
    return illuminant(name)


LIGHTS = (*WHITES, "465/24", "592/16")
TARGETS = {
    text: XYZ_to_Lab(hex_to_XYZ(text))
    for text in ("#1e90ff", "#ff0000", "#00c853", "#7b1fa2", "#00ffff", "#ff8c00")
}
TARGETS["dark red"] = np.array([22.0, 40.0, 20.0])  # below L* 50: scaled under "free"
VEIL = np.array([0.03, 0.03, 0.02])


def judged(XYZ, target, lightness, veil=None):
    """CIEDE2000 of colours (Y of the light at 1), written out from the rule."""
    XYZ, aim = XYZ + (0 if veil is None else veil), Lab_to_XYZ(target)
    if lightness == "free":
        Y = ((max(target[0], 50.0) + 16) / 116) ** 3
        XYZ, aim = XYZ * (Y / XYZ[..., 1:2]), aim * (Y / aim[1])
    return delta_e_2000(XYZ_to_Lab(XYZ), XYZ_to_Lab(aim))


def colours(filters, power):
    """XYZ through filters, the Y of the light at 1."""
    return spectrum_to_XYZ(filters * power) / spectrum_to_XYZ(power)[1]


def kept(filters, power):
    return colours(filters, power)[..., 1]


def with_share(filters, power, share):
    """Grey a filter, or mix it with an open one, until it keeps just the share."""
    Y = kept(filters, power)[..., None]
    opened = filters + (1 - filters) * np.clip((share - Y) / (1 - Y + 1e-15), 0, 1)
    return opened * share / kept(opened, power)[..., None]


def random_filters(rng, count):
    """Uniform, 0/1, band-pass and band-stop, edges, and sums of smooth dye bands."""
    uniform = rng.random((count, 401)) ** rng.uniform(0.2, 5, (count, 1))
    steps = (rng.random((count, 401)) < rng.random((count, 1))).astype(float)
    start, end = np.sort(rng.uniform(380, 780, (2, count, 1)), axis=0)
    passing = ((start <= WAVELENGTHS) & (end >= WAVELENGTHS)).astype(float)
    edge = 1 / (1 + np.exp((WAVELENGTHS - start) / rng.uniform(0.5, 20, (count, 1))))
    centre = rng.uniform(380, 780, (count, 3, 1))
    width = rng.uniform(20, 120, (count, 3, 1))
    band = np.exp(-4 * np.log(2) * ((WAVELENGTHS - centre) / width) ** 2)
    dyes = 10.0 ** -(rng.exponential(1, (count, 3, 1)) * band).sum(axis=1)
    return np.concatenate([uniform, steps, passing, 1 - passing, edge, 1 - edge, dyes])


# ---- published: optimal colours


def tabled(name, *, directions):
    """The tabled x, y, Y of optimal colours and our rim's distance in x, y to each."""
    spectrum = colour.SDS_ILLUMINANTS[name].copy()
    spectrum.interpolate(
        colour.SpectralShape(380, 780, 1), interpolator=colour.CubicSplineInterpolator
    )
    rows = OPTIMAL_COLOUR_STIMULI_ILLUMINANTS[name]
    away = np.empty(len(rows))
    for Y in np.unique(rows[:, 2]):
        XYZ = optimal_colours(spectrum.values, light_kept=Y / 100, count=directions)
        rim = XYZ[:, :2] / XYZ.sum(axis=1, keepdims=True)
        side = np.roll(rim, -1, axis=0) - rim
        length = np.maximum((side**2).sum(axis=1), 1e-30)
        for row in np.flatnonzero(rows[:, 2] == Y):
            from_start = rows[row, :2] - rim
            along = np.clip((from_start * side).sum(axis=1) / length, 0, 1)
            away[row] = np.hypot(*(from_start - along[:, None] * side).T).min()
    return rows, away


# Source: the tables in colour-science, after Wyszecki & Stiles, Color Science (2000),
# tables I(3.7) and II(3.7). Printed to four decimals of x and y, so a point can be
# 7e-5 off by rounding alone; 1e-4 leaves 3e-5 for the grid on which they were made.
# Left out, each two to fifteen times farther off than any other row of its table, so
# taken (assumed) as slips of the table: these rows, x, y, Y.
SLIPS = {
    "A": [(0.6065, 0.3871, 60), (0.4904, 0.3412, 70)],
    "D65": [(0.4299, 0.4158, 80), (0.2003, 0.4069, 70)],
}


@pytest.mark.parametrize("name", SLIPS)
def test_rim_meets_the_tabled_optimal_colours(name):
    rows, away = tabled(name, directions=3600)
    slip = [any(np.allclose(row, s) for s in SLIPS[name]) for row in rows]
    assert sum(slip) == len(SLIPS[name])
    assert away[~np.array(slip)].max() < 1e-4


def test_rim_meets_the_older_table_for_illuminant_C():
    # MacAdam's figures of 1935, worked out by hand on a coarser observer and
    # illuminant (assumed): they scatter 2e-4 about the rim, without a trend, and one
    # row, x .3200 y .6357 Y 40, is 0.026 off where its neighbours are below 0.001.
    rows, away = tabled("C", directions=900)
    slip = np.isclose(rows, (0.3200, 0.6357, 40)).all(axis=1)
    assert slip.sum() == 1
    assert np.median(away) < 3e-4
    assert np.percentile(away, 90) < 1.2e-3
    assert away[~slip].max() < 5e-3


@pytest.mark.parametrize("row", [5, 60, 130, 200, 235])
def test_most_light_at_a_tabled_chromaticity_is_the_tabled_Y(row):
    # every optimal colour keeps the most light its chromaticity can have; four
    # decimals of x, y are worth up to a few tenths of a percent of Y
    x, y, Y = OPTIMAL_COLOUR_STIMULI_ILLUMINANTS["D65"][row]
    Lab = XYZ_to_Lab(np.array([x / y, 1, (1 - x - y) / y]) * Y / 100)
    assert max_light(light("D65"), Lab) == pytest.approx(Y / 100, rel=0.005)


# ---- the certificate: no filter is below it


@pytest.mark.parametrize("name", LIGHTS)
def test_no_filter_beats_the_limit(name):
    # 5 lights x 4 targets x 4 shares x 1,400 filters = 112,000, and 20 x 350 small
    # changes to the best filter found; the policy alternates over lights and targets
    power, rng = light(name), np.random.default_rng(20)
    shares = np.array([0.02, 0.1, 0.35, 0.8])
    filters = random_filters(rng, 200)
    tried = [with_share(filters, power, share) for share in shares]
    for each in tried:
        assert each.min() >= 0
        assert each.max() <= 1 + 1e-12
    seen = np.array([colours(each, power) for each in tried])
    part = 10 ** rng.uniform(-4, -0.5, (350, 1))
    for k, text in enumerate(("#1e90ff", "#00c853", "#ff8c00", "dark red")):
        target = TARGETS[text]
        lightness = ("free", "match")[(k + LIGHTS.index(name)) % 2]
        veil = VEIL if k % 3 == 1 else None
        given = {"light_kept": shares, "lightness": lightness, "veil": veil}
        curve = reach(power, target, minimum=shares[k], **given)
        differences = judged(seen, target, lightness, veil)
        assert (differences.min(axis=1) >= curve.low - 1e-9).all()
        best = curve.best
        near = (1 - part) * best.filter + part * rng.permutation(filters)[:350]
        near = colours(with_share(near, power, best.share), power)
        assert judged(near, target, lightness, veil).min() >= best.low - 1e-9


@pytest.mark.parametrize("name", LIGHTS)
def test_explicit_filter_attains_its_difference(name):
    power = light(name)
    for target, lightness, share, veil in (
        ("#7b1fa2", "free", 0.07, None),
        ("#00c853", "match", 0.31, None),
        ("#7b1fa2", "free", 0.2, VEIL),
        ("dark red", "free", 0.9, None),
        ("dark red", "match", 0.04, None),
    ):
        aim = TARGETS[target]
        found = limit(power, aim, light_kept=share, lightness=lightness, veil=veil)
        seen = judged(colours(found.filter, power), aim, lightness, veil)
        assert seen == pytest.approx(found.high, abs=1e-6)
        assert kept(found.filter, power) == pytest.approx(share, abs=1e-9)
        assert found.filter.min() >= 0
        assert found.filter.max() <= 1
        between = (found.filter > 0) & (found.filter < 1)
        assert between.sum() <= 3
        assert found.low <= found.high <= found.low + 0.02


@pytest.mark.parametrize("lightness", ["free", "match"])
@pytest.mark.parametrize("name", WHITES)
def test_bracket_closes_on_white_lights(name, lightness):
    target = TARGETS["#00c853" if lightness == "free" else "#7b1fa2"]
    shares = None if lightness == "free" else np.geomspace(0.01, 1, 20)
    curve = reach(light(name), target, light_kept=shares, lightness=lightness)
    assert curve.high.max() > 20  # the curve leaves zero: there is a gap to close
    assert (curve.low <= curve.high).all()
    assert (curve.high - curve.low).max() <= 0.01 + 1e-9


# ---- second implementation: fine sampling of the slice


def slice_points(power, share):
    """Sample a slice: its rim closely, chords too, and its inside on shrunken rims."""
    rim = np.unique(
        np.round(optimal_colours(power, light_kept=share, count=2000), 12), axis=0
    )
    centre = rim.mean(axis=0)
    turn = np.arctan2(*(rim - centre)[:, [2, 0]].T)
    rim = rim[np.argsort(turn)]
    along = np.linspace(0, 1, 40, endpoint=False)[:, None, None]
    fine = rim + along * (np.roll(rim, -1, axis=0) - rim)
    inward = np.linspace(0, 1, 30)[:, None, None, None]
    inner = fine[::20] + inward * (centre - fine[::20])
    return np.concatenate([fine.reshape(-1, 3), inner.reshape(-1, 3)])


@pytest.mark.parametrize("name", LIGHTS)
def test_dense_sampling_of_the_slice_finds_the_same_least_difference(name):
    power = light(name)
    for share, target, lightness in (
        (0.4, "#1e90ff", "free"),
        (0.4, "#7b1fa2", "match"),
        (0.8, "#00c853", "free"),
    ):
        found = limit(power, TARGETS[target], light_kept=share, lightness=lightness)
        assert found.high > 1  # an inside target is met only to the step of sampling
        XYZ = slice_points(power, share)
        seen = judged(XYZ, TARGETS[target], lightness).min()
        assert found.low <= seen <= found.high + 0.01


# ---- identities


def test_a_colour_made_by_a_filter_is_within_reach():
    rng, power = np.random.default_rng(3), light("LED-B3")
    for made in random_filters(rng, 1):
        share = kept(made, power)
        if share < 0.001:
            continue
        target = XYZ_to_Lab(colours(made, power))
        for lightness in ("free", "match"):
            found = limit(power, target, light_kept=share, lightness=lightness)
            assert found.low == 0
            assert found.high < 0.01
        assert max_light(power, target) >= share - 1e-6


def test_all_light_kept_is_the_light_itself():
    for name in LIGHTS:
        power, target = light(name), TARGETS["#7b1fa2"]
        found = limit(power, target, light_kept=1.0)
        itself = judged(colours(np.ones(401), power), target, "free")
        assert found.high == pytest.approx(itself, abs=1e-6)
        assert found.low == pytest.approx(itself, abs=0.0101)


def test_a_single_line_has_one_colour_at_every_share():
    power = np.where(WAVELENGTHS == 520, 3.0, 0.0)
    curve = reach(power, TARGETS["#ff8c00"], light_kept=[0.01, 0.3, 1.0])
    assert curve.high == pytest.approx(np.full(3, curve.high[0]), abs=1e-6)
    assert (curve.high - curve.low).max() <= 0.0101
    assert curve.best.share == 1.0


def test_limit_does_not_depend_on_the_unit_of_power():
    one = limit(light("LED-B1"), TARGETS["#1e90ff"], light_kept=0.2)
    other = limit(7e3 * light("LED-B1"), TARGETS["#1e90ff"], light_kept=0.2)
    assert other.high == pytest.approx(one.high, abs=1e-6)


def test_limit_rises_with_the_light_kept_when_lightness_is_free():
    for name in ("LED-B3", "465/24"):
        curve = reach(
            light(name), TARGETS["#7b1fa2"], light_kept=np.geomspace(0.01, 1, 12)
        )
        assert curve.nested
        assert (curve.low[:-1] <= curve.high[1:]).all()
        assert curve.high[-1] > curve.high[0] + 1  # else this test could not fail


def test_target_is_met_exactly_up_to_the_most_light():
    for name in WHITES:
        for target in ("#00c853", "#ff0000"):
            most = max_light(light(name), TARGETS[target])
            shares = np.array([0.9999, 1.01]) * most
            curve = reach(light(name), TARGETS[target], light_kept=shares)
            assert curve.high[0] < 0.01
            assert curve.low[1] > 0


def test_most_light_is_none_for_a_chromaticity_outside_the_light():
    assert max_light(light("465/24"), TARGETS["#ff0000"]) == pytest.approx(0, abs=1e-6)


def test_reach_agrees_with_limit_and_its_best_holds():
    power, target = light("LED-RGB1"), TARGETS["#00ffff"]
    curve = reach(power, target, light_kept=[0.1, 0.3, 0.5], minimum=0.25)
    assert list(curve.shares) == [0.1, 0.25, 0.3, 0.5]
    for k, share in enumerate(curve.shares):
        one = limit(power, target, light_kept=share)
        assert one.high == pytest.approx(curve.high[k], abs=0.0101)
        assert one.low == pytest.approx(curve.low[k], abs=0.0101)
    assert curve.best.share == 0.25
    assert curve.best.high == pytest.approx(curve.high[1], abs=1e-6)


def test_most_light_brackets_what_can_be_kept():
    curve = reach(
        light("LED-RGB1"), TARGETS["#00ffff"], light_kept=[0.1, 0.2, 0.3, 0.5]
    )
    can, cannot = curve.most_light(5.0)
    assert (can, cannot) == (0.2, 0.3)
    assert curve.high[1] <= 5.0 < curve.low[2]
    assert curve.most_light(100.0) == (0.5, 1.0)
    assert curve.most_light(-1.0) == (0.0, 0.1)


def test_a_veil_far_brighter_than_the_glow_is_all_that_is_seen():
    target = TARGETS["#ff8c00"]
    veil = 1e3 * tables().white
    found = limit(light("LED-B3"), target, light_kept=0.5, veil=veil)
    aim = Lab_to_XYZ(target)
    white = tables().white * aim[1]
    assert found.high == pytest.approx(
        delta_e_2000(XYZ_to_Lab(white), target), abs=0.05
    )
    assert not reach(light("LED-B3"), target, light_kept=0.5, veil=VEIL).nested


def test_few_partial_keeps_the_colour():
    power = light("LED-B3")
    question = question_of(power, (50, 0, 0), "match", None)
    start = np.random.default_rng(1).random(question.bins.size)
    plain = module._few_partial(question, start)
    weights = question.weights
    assert weights @ plain == pytest.approx(weights @ start, abs=1e-12)
    assert weights * plain @ question.places == pytest.approx(
        weights * start @ question.places, abs=1e-10
    )
    assert ((plain > 0) & (plain < 1)).sum() <= 3


# ---- smooth filters


@pytest.mark.parametrize("name", ["LED-RGB1", "465/24"])
def test_smooth_filters_are_no_better_than_the_limit(name):
    power, target = light(name), TARGETS["#00ffff"]
    bound = limit(power, target, light_kept=0.6)
    smooth = smooth_estimate(power, target, light_kept=0.6)
    assert 1 < bound.low <= smooth.high
    assert kept(smooth.filter, power) == pytest.approx(0.6, abs=1e-9)
    assert smooth.filter.max() <= 1
    seen = judged(colours(smooth.filter, power), target, "free")
    assert seen == pytest.approx(smooth.high, abs=1e-6)


def test_smooth_filters_find_a_colour_that_smooth_filters_made():
    power = light("LED-B3")
    size = 1e7 / 520 - 1e7 / 600  # another centre and width than any band of the search
    band = np.exp(-4 * np.log(2) * ((1e7 / WAVELENGTHS - 1e7 / 557) / size) ** 2)
    made = 10.0 ** (-0.8 * band)
    target = XYZ_to_Lab(colours(made, power))
    share = kept(made, power)
    found = smooth_estimate(power, target, light_kept=share * 0.97, lightness="free")
    assert found.high < 0.05


# ---- errors


@pytest.mark.parametrize(
    ("change", "kind", "words"),
    [
        ({"power": np.ones(81)}, SpectrumError, "interpolate the light first"),
        ({"power": -np.ones(401)}, SpectrumError, "below 0"),
        ({"power": np.full(401, np.nan)}, SpectrumError, "mend those rows"),
        ({"power": np.where(WAVELENGTHS > 720, 1, 0)}, SpectrumError, "visible light"),
        ({"light_kept": 0.0}, TintlabError, "share"),
        ({"light_kept": 1.1}, TintlabError, "share"),
        ({"light_kept": np.nan}, TintlabError, "share"),
        ({"lightness": "bright"}, TintlabError, '"free" and "match"'),
        ({"target": (0, 0, 0)}, TintlabError, "L\\* above 0"),
        ({"target": (50, 0)}, TintlabError, "L\\*, a\\*, b\\*"),
        ({"veil": (-1, 0, 0)}, TintlabError, "veil"),
    ],
)
def test_what_has_no_meaning_is_refused(change, kind, words):
    given = {"power": np.ones(401), "target": (50, 0, 0), "light_kept": 0.5} | change
    with pytest.raises(kind, match=words):
        limit(given.pop("power"), given.pop("target"), **given)
