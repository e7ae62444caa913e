"""Learning: official strengths are recovered, the posterior is calibrated."""

import csv
from dataclasses import replace

import numpy as np
import pytest
from ladders import BLUE, DEMO, again, ladder_of, outside, sensitivities, simulated
from published import Published, published
from scipy.stats import binom

from tintlab.causes import OWN_GLOW, Z95
from tintlab.chips.camera import GRID, family, member
from tintlab.chips.evidence import Evidence, Gaussian, distinct, grade, product
from tintlab.chips.fit import Interval, fitted, interval
from tintlab.chips.ladder import STRAY, STRAY_LEFT
from tintlab.chips.learn import learn, strength_weights
from tintlab.chips.metered import is_metered, learn_metered
from tintlab.chips.model import model_of, predicted
from tintlab.chips.unknown import SCATTER, Unknown
from tintlab.colorimetry import XYZ_to_Lab, illuminant, spectrum_to_XYZ, tables
from tintlab.colourants import dye_shape
from tintlab.errors import InsetError
from tintlab.shelf import open_shelf
from tintlab.spectrum import WAVELENGTHS

BOTTLE = """
name = "test bottle"
[source]
citation = "made for a test"
kind = "assumed"
[bottle]
hue = "any"
strength = {strength}
spread = 3
density = 1.0
drop = 0.05
drop_spread = 1.3
[[dye]]
name = "{dye}"
"""

CHIPS = """
name = "test chips"
emitter = "white 4100 K"
[camera]
kind = "jpeg"
checked = true
[body]
medium = "epoxy"
thickness = "3 mm"
batch = "20 g"
{chips}
"""


def shelf_with(folder, *, dye, strength):
    (folder / "bottles").mkdir()
    text = BOTTLE.format(dye=dye, strength=strength)
    (folder / "bottles" / "test-bottle.toml").write_text(text, encoding="utf-8")
    return open_shelf(folder)


def chip(name, dose, reading):
    return (
        f'[[chip]]\nname = "{name}"\n{reading}\n'
        f'dyes = [{{ bottle = "test bottle", dose = "{dose}" }}]\n'
    )


def one(ladder, **more):
    return learn(ladder, **more).learned[0]


def strength_of(learned):
    """Median of the strength and its 5 and 95 % points."""
    base = np.log(learned.prior.strength)
    inside = learned.factor
    return np.exp(base + np.array([inside.middle, inside.low, inside.high]))


# ------------------------------------------------------------ published strengths

# 2 % of a food dye in a liquid: E(1%,1cm) / 10 is the absorbance per cm of 1 g/L
FOOD = (
    ("brilliant blue", 630.0, "1630", "EU 231/2012 E 133"),
    ("tartrazine", 426.0, "530", "EU 231/2012 E 102"),
    ("allura red", 504.0, "540", "EU 231/2012 E 129"),
)


@published(
    *(
        Published(source=source, printed=E, given={"dye": dye, "peak": peak})
        for dye, peak, E, source in FOOD
    )
)
def test_official_strength_is_recovered_through_a_foreign_camera(check, tmp_path):
    """Beer and Lambert by hand, at 1 nm, through a camera that is not in the family."""
    density = 1.16  # of the epoxy on the shelf [g/cm3]
    per_g_kg = check.expected / 10 * density / 10 * 0.02  # 1/mm per g liquid per kg
    shelf = shelf_with(tmp_path, dye=check.given["dye"], strength=per_g_kg / 2.2)
    assert shelf.find("media", "epoxy").density == pytest.approx(density, abs=0.02)
    light = shelf.find("emitters", "white 4100 K").power
    shape = dye_shape(shelf.find("dyes", check.given["dye"]))
    texts = []
    for name, peak in (("pale", 0.4), ("deep", 0.9)):
        grams = peak / (per_g_kg * 3) * 20 / 1000
        passed = 10 ** -(peak * shape)
        S = sensitivities()
        ratio = (S * light * passed).sum(axis=1) / (S * light).sum(axis=1)
        dose = f"{grams * 101:.4f} g of 100:1 let-down"
        reading = f"ratio = {ratio.round(4).tolist()}"
        texts.append(chip(name, dose, reading))
    learned = one(ladder_of(tmp_path, CHIPS.format(chips="".join(texts)), shelf))
    middle, low, high = strength_of(learned)
    assert low < per_g_kg < high
    assert np.log(high / low) < np.log(9) / 2  # the label leaves 1/3 to 3
    assert middle == pytest.approx(per_g_kg, rel=0.25)


@published(
    Published(source="USP <1101> (from memory): water drop, mg", printed="50",
              tolerance=5.0),
)  # fmt: skip
def test_drop_mass_from_the_scale(check, tmp_path):
    weighed = '[[weighed]]\nbottle = "sea blue"\ndrops = 50\nmass = "2.5 g"\n'
    ladder = ladder_of(tmp_path, BLUE + weighed)
    (drop,) = ladder.weighed
    assert drop.drop * 1000 == pytest.approx(check.expected, abs=check.half_digit)
    # a scale of 0.1 g: half a step, evenly spread, and 8 % a drop over root 50
    wanted = np.hypot(0.05 / np.sqrt(3) / 2.5, 0.08 / np.sqrt(50))
    assert drop.deviation == pytest.approx(wanted)
    model = model_of(ladder)
    z = np.zeros(len(model.unknowns))
    learned = one(simulated(model, np.random.default_rng(2), z=z)[1])
    assert not learned.evidence.by_drop
    assert learned.weighed == pytest.approx((0.05, np.exp(Z95 * wanted)))


# ------------------------------------------------------------ identities


def test_a_light_meter_gives_the_luminance_ratio(tmp_path):
    """The reading is made by a sum at 1 nm; the strength must come back."""
    strength = 0.08
    shelf = shelf_with(tmp_path, dye="solvent blue 104", strength=0.05)
    light = shelf.find("emitters", "white 4100 K").power
    shape = dye_shape(shelf.find("dyes", "solvent blue 104"))
    texts = []
    for name, drops in (("a", 3), ("b", 6)):
        per_kg = drops * 0.05 / (20 + drops * 0.05) * 1000
        passed = 10 ** -(strength * per_kg * 3 * shape)
        Y = tables().observer[:, 1]
        ratio = (light * passed) @ Y / (light @ Y)
        texts.append(chip(name, f"{drops} drops", f"light = {ratio:.5f}"))
    learned = one(ladder_of(tmp_path, CHIPS.format(chips="".join(texts)), shelf))
    _, low, high = strength_of(learned)
    assert low < strength < high
    assert high / low < 2.5


def test_a_colorimeter_needs_no_camera(tmp_path):
    strength = 0.04
    shelf = shelf_with(tmp_path, dye="solvent blue 104", strength=0.06)
    shape = dye_shape(shelf.find("dyes", "solvent blue 104"))
    white = illuminant("D65")
    per_kg = 4 * 0.05 / (20 + 4 * 0.05) * 1000
    XYZ = spectrum_to_XYZ(white * 10 ** -(strength * per_kg * 3 * shape))
    Lab = XYZ_to_Lab(XYZ / spectrum_to_XYZ(white)[1])
    text = chip("a", "4 drops", f"lab = {Lab.round(3).tolist()}")
    ladder = ladder_of(tmp_path, CHIPS.format(chips=text), shelf)
    learned = one(ladder)
    _, low, high = strength_of(learned)
    assert low < strength < high
    kinds = {u.kind for u in model_of(ladder).unknowns}
    assert not kinds & {"camera", "stray", "tone", "bin"}


def test_ink_coats_teach_strength_and_gain(tmp_path):
    text = """
    name = "ink"
    emitter = "white 4100 K"
    [camera]
    kind = "raw"
    [body]
    medium = "PMMA sheet"
    thickness = "2 mm"
    """
    for count in (1, 2, 3):
        text += (
            f'\n[[chip]]\nname = "{count}"\n'
            f'coats = [{{ ink = "pink ink", coats = {count} }}]\nratio = [1, 1, 1]\n'
        )
    model = model_of(ladder_of(tmp_path, text))
    z = np.zeros(len(model.unknowns))
    z[model.column("strength", "pink ink")] = -0.5
    z[model.column("gain", "pink ink")] = -3.0
    _, ladder = simulated(model, np.random.default_rng(3), z=z)
    learned = one(ladder)
    true = -0.5 * model.unknowns[model.column("strength", "pink ink")].deviation
    assert learned.factor.low < true < learned.factor.high
    assert learned.evidence.gain < 0.75  # 0.8 on file, 0.53 in truth
    assert learned.evidence.kind == "camera"


def test_strips_pulled_from_a_bath_teach_its_rate(tmp_path):
    text = """
    name = "bath"
    emitter = "white 4100 K"
    [camera]
    kind = "raw"
    [body]
    medium = "PMMA sheet"
    thickness = "2 mm"
    """
    for minutes in (2, 8):
        text += (
            f'\n[[chip]]\nname = "{minutes} min"\nratio = [1, 1, 1]\n'
            f'dyes = [{{ bottle = "lens green", time = "{minutes} min" }}]\n'
        )
    shelf = open_shelf(DEMO.parent / "tug-lights" / "shelf")
    model = model_of(ladder_of(tmp_path, text, shelf))
    z = np.zeros(len(model.unknowns))
    z[model.column("strength", "lens green")] = -0.8
    _, ladder = simulated(model, np.random.default_rng(4), z=z)
    learned = one(ladder)
    true = -0.8 * np.log(3) / Z95
    assert learned.factor.low < true < learned.factor.high
    assert learned.evidence.kind == "bath, camera"


def test_the_blank_reads_one_and_more_dye_reads_less(tmp_path):
    model = model_of(ladder_of(tmp_path))
    n = len(model.unknowns)
    z = np.zeros((3, n))
    z[:, model.column("strength", "sea blue")] = [-30.0, 0.0, 0.5]
    read = predicted(model, z)
    assert read[0] == pytest.approx(1.0, abs=1e-6)
    assert (np.diff(read[:, model.channel == 0], axis=0) < 0).all()


def test_a_product_of_gaussians_is_the_formula():
    seen = [Gaussian(mean=1.0, deviation=0.5), Gaussian(mean=3.0, deviation=2.0)]
    found = product(Gaussian(mean=0.0, deviation=1.0), seen)
    weights = np.array([1, 4, 0.25])
    assert found.mean == pytest.approx(weights @ [0, 1, 3] / weights.sum())
    assert found.deviation == pytest.approx(weights.sum() ** -0.5)


def test_no_reading_that_says_anything_leaves_the_prior(tmp_path):
    text = BLUE.replace("ratio = [0.5, 0.5, 0.5]", "light = 0.5\nsure = 1")
    lesson = learn(ladder_of(tmp_path, text))
    learned = lesson.learned[0]
    assert np.exp(Z95 * 0.6) > 1  # the prior's own width
    width = (learned.factor.high - learned.factor.low) / 2
    prior = np.hypot(np.log(3), np.log(1.3))
    assert 0.5 * prior < width < 1.1 * prior


def test_grade_counts_different_doses():
    def evidence(kind, *doses):
        strength = Gaussian(mean=0.0, deviation=0.1)
        return Evidence(key="k", chips="c", kind=kind, doses=doses, strength=strength)

    assert distinct([0.5, 0.55, 0.58]) == 1
    assert grade([evidence("camera", 0.5)]) == "chipped"
    assert grade([evidence("camera", 0.5, 0.55)]) == "chipped"
    assert grade([evidence("camera", 0.5), evidence("light", 0.8)]) == "laddered"
    assert grade([evidence("camera", 0.5), evidence("spectrum", 0.8)]) == "metered"


# ------------------------------------------------------------ the family of cameras


@pytest.mark.parametrize("raw", [True, False])
def test_the_family_is_normalised_and_wide(raw):
    cameras = family(raw=raw)
    assert cameras.mean.sum(axis=-1) == pytest.approx(1.0)
    assert cameras.directions.sum(axis=-1) == pytest.approx(0.0, abs=1e-12)
    random = np.random.default_rng(8)
    members = np.stack([member(random, raw=raw) for _ in range(60)])
    flat = (members - cameras.mean).reshape(60, -1)
    along = cameras.directions.reshape(10, -1)
    z = flat @ along.T / (along**2).sum(axis=1)
    assert 0.75 < z.std() < 1.25
    left = ((flat - z @ along) ** 2).sum() / (flat**2).sum()
    assert left < 0.15


def test_the_outside_camera_lies_within_the_family():
    cameras = family(raw=False)
    along = cameras.directions.reshape(10, -1)
    away = (sensitivities(GRID) - cameras.mean).reshape(-1)
    z = along @ away / (along**2).sum(axis=1)
    assert np.sqrt((z**2).mean()) < 2.0
    assert np.sqrt((z**2).mean()) > 0.3  # and it is not the mean itself


# ------------------------------------------------------------ calibration


@pytest.mark.parametrize(("foreign", "seed"), [(False, 21), (True, 22)])
def test_the_ninety_per_cent_interval_covers_ninety_per_cent(tmp_path, foreign, seed):
    """60 ladders; 200 are in tests/benchmarks/bench_chips.py.

    On the short flank of the band the absorbance falls by some 2 % a nm of shift: there
    strength and shift count together. A spread takes their errors one by one, which
    must cover as much or more, also through a camera at the edge of the family.
    """
    model = model_of(ladder_of(tmp_path))
    random = np.random.default_rng(seed)
    column = model.column("shift", "sea blue")
    flank = np.zeros(len(model.unknowns))
    flank[column] = -0.02 * model.unknowns[column].deviation
    hits, safe, n = 0, 0, 60
    for _ in range(n):
        z, ladder = simulated(model, random, family=outside() if foreign else None)
        fit = fitted(again(model, ladder))
        weights, _ = strength_weights(fit, ladder.chips[0].layer.dosed[0].colourant)
        sigma = np.sqrt(weights @ fit.covariance @ weights)
        hits += abs(weights @ (fit.z - z)) < Z95 * sigma
        sigma = np.hypot(sigma, np.sqrt(flank @ fit.covariance @ flank))
        safe += abs((weights + flank) @ (fit.z - z)) < Z95 * sigma
    assert binom.cdf(hits, n, 0.90) > 0.005
    assert binom.sf(hits - 1, n, 0.90) > 0.005
    assert binom.cdf(safe, n, 0.90) > 0.005


def test_the_profile_agrees_with_the_curvature_where_it_should(tmp_path):
    model = model_of(ladder_of(tmp_path))
    _, ladder = simulated(model, np.random.default_rng(5))
    fit = fitted(again(model, ladder))
    weights, _ = strength_weights(fit, ladder.chips[0].layer.dosed[0].colourant)
    found = interval(fit, weights)
    sigma = np.sqrt(weights @ fit.covariance @ weights)
    assert isinstance(found, Interval)
    assert found.high - found.low == pytest.approx(2 * Z95 * sigma, rel=0.2)


# ------------------------------------------------------------ what does not fit


def wrong(model, kind, name, deviation, z, number=0):
    """Readings of a ladder in which one thing is wrong."""
    extra = Unknown(kind=kind, name=name, number=number, deviation=deviation)
    other = model_of(model.ladder, extra=[extra], base=model)
    truth = np.zeros(len(other.unknowns))
    truth[other.column(kind, name, number)] = z
    _, ladder = simulated(other, np.random.default_rng(6), z=truth)
    return ladder


THREE = BLUE + BLUE[BLUE.index("[[chip]]") :].replace("one", "three").replace(
    '"two"', '"four"'
).replace("2 drops", "3 drops").replace("5 drops", "4 drops")  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "name", "deviation", "z", "word"),
    [
        ("scatter", "sea blue", SCATTER, 0.9, "scatters"),
        ("own glow", "violet resin dye", OWN_GLOW, 3.0, "glows by itself"),
        ("dose", "two", 1.0, -0.8, "drop error"),
    ],
)
def test_a_ladder_that_does_not_fit_says_why(tmp_path, kind, name, deviation, z, word):
    bottle = "sea blue" if kind == "dose" else name
    model = model_of(ladder_of(tmp_path, THREE.replace("sea blue", bottle)))
    lesson = learn(wrong(model, kind, name, deviation, z))
    assert not lesson.fits
    assert lesson.suspects[0].word == word
    assert name in lesson.suspects[0].sentence


def test_the_wrong_emitter_and_swapped_chips_are_named(tmp_path):
    shelf = open_shelf(DEMO / "shelf")
    ladder = ladder_of(tmp_path, BLUE)
    other = replace(ladder, emitter=shelf.find("emitters", "white 2730 K"))
    model = model_of(other)
    _, seen = simulated(
        model, np.random.default_rng(7), z=np.zeros(len(model.unknowns))
    )
    amber = shelf.find("emitters", "cyan")
    lesson = learn(
        replace(seen, emitter=amber), emitters=[amber, other.emitter, ladder.emitter]
    )
    assert not lesson.fits
    assert lesson.suspects[0].word == "wrong emitter"
    model = model_of(ladder)
    _, seen = simulated(
        model, np.random.default_rng(7), z=np.zeros(len(model.unknowns))
    )
    chips = list(seen.chips)
    a, b = chips[0].sight, chips[1].sight
    chips[:2] = replace(chips[0], sight=b), replace(chips[1], sight=a)
    lesson = learn(replace(seen, chips=tuple(chips)))
    assert not lesson.fits
    assert lesson.suspects[0].word == "chips swapped"


def test_a_right_ladder_fits_and_names_nobody(tmp_path):
    model = model_of(ladder_of(tmp_path, THREE))
    random = np.random.default_rng(9)
    fits = [learn(simulated(model, random)[1]).fits for _ in range(6)]
    assert sum(fits) >= 5


# ------------------------------------------------------------ a spectrometer


def spectrum_file(path, absorbance, index):
    """Transmittance of a slab with both faces, by the textbook sum, as CSV."""
    R = ((index - 1) / (index + 1)) ** 2
    t = 10**-absorbance
    T = (1 - R) ** 2 * t / (1 - R**2 * t**2)
    with path.open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file)
        rows.writerow(["wavelength [nm]", "transmittance [%]"])
        rows.writerows(zip(WAVELENGTHS, (100 * T).round(4), strict=True))


def metered(folder, *, floor=0.0, peak=0.8):
    shelf = shelf_with(folder, dye="solvent blue 104", strength=0.03)
    epoxy = shelf.find("media", "epoxy")
    shape = dye_shape(shelf.find("dyes", "solvent blue 104"), shift=6.0)
    for name, share in (("a", 0.5), ("b", 1.0)):
        whole = share * peak * shape + floor + epoxy.absorption * 3
        spectrum_file(folder / f"{name}.csv", whole, epoxy.index)
    chips = chip("a", "5.05 g of 100:1 let-down", 'file = "a.csv"')
    chips += chip("b", "10.1 g of 100:1 let-down", 'file = "b.csv"')
    return ladder_of(folder, CHIPS.format(chips=chips), shelf)


def test_a_spectrometer_gives_strength_and_curve(tmp_path):
    ladder = metered(tmp_path)
    assert is_metered(ladder)
    (found,) = learn_metered(ladder)
    true = 0.8 / 3 / (0.1 / 20.1 * 1000)
    strength = np.exp(found.learned.evidence.strength.mean)
    assert strength == pytest.approx(true, rel=0.01)
    shape = dye_shape(open_shelf().find("dyes", "solvent blue 104"), shift=6.0)
    assert found.curve == pytest.approx(shape / shape.max(), abs=0.005)


@pytest.mark.parametrize(
    ("floor", "peak", "says"),
    [(0.3, 0.8, "it scatters"), (0.0, 3.4, "paler"), (0.0, 0.02, "deeper")],
)
def test_a_spectrum_that_cannot_be_trusted_is_refused(tmp_path, floor, peak, says):
    with pytest.raises(InsetError, match=says):
        learn_metered(metered(tmp_path, floor=floor, peak=peak))


# ------------------------------------------------------------ bad input


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('emitter = "white 4100 K"', "", '"emitter" is missing'),
        ('emitter = "white 4100 K"', 'emitter = "whit"', "chips.toml:3:"),
        ('name = "two"', 'name = "one"', 'two chips are called "one"'),
        ("ratio = [0.5, 0.5, 0.5]", "", "nothing was read"),
        ("ratio = [0.5, 0.5, 0.5]", "ratio = [2, 2, 2]", "blank darker"),
        ("ratio = [0.5, 0.5, 0.5]", "ratio = [0.001, 0, 0]", "too dark"),
        ("ratio = [0.5, 0.5, 0.5]", "ratio = [0.5, 0.5]", "takes 3 finite"),
        ("ratio = [0.5, 0.5, 0.5]", "ratio = [1, 1, 1]\nlight = 1", "both"),
        ("ratio = [0.5, 0.5, 0.5]", "lab = [50, 0, 0, 1]", "takes 3 finite"),
        ("ratio = [0.5, 0.5, 0.5]", "xyz = [50, 50, 50]", "Y = 1"),
        ('"2 drops"', '"2 dorps"', "is no unit"),
        ('bottle = "sea blue"', 'bottle = "see blu"', "sea blue"),
        ("checked = true", "checked = 3", "true or false"),
        ("checked = true", "chequed = true", "chequed"),
        ("[[chip]]", "[[chips]]", "chip"),
    ],
)
def test_mistakes_are_refused_with_what_to_do(tmp_path, old, new, says):
    with pytest.raises(InsetError, match=says) as found:
        ladder_of(tmp_path, BLUE.replace(old, new))
    assert "\n" not in str(found.value)


def test_dyes_alone_and_mixed_ways_are_refused(tmp_path):
    text = BLUE.replace(
        '{ bottle = "sea blue", dose = "2 drops" }',
        '{ dye = "solvent blue 104", dose = "1 mg" }',
    )
    with pytest.raises(InsetError, match="make a bottle of it"):
        learn(ladder_of(tmp_path, text))
    weighed = '[[weighed]]\nbottle = "straw"\ndrops = 50\nmass = "1.3 g"\n'
    with pytest.raises(InsetError, match="no chip holds it"):
        learn(ladder_of(tmp_path, BLUE + weighed))
    weighed = weighed.replace("1.3 g", "130 g")
    with pytest.raises(InsetError, match="a drop is 2 to"):
        ladder_of(tmp_path, BLUE + weighed)


def test_a_channel_that_the_led_does_not_light_is_left_out(tmp_path):
    """Over a deep red LED blue and green see next to nothing."""
    text = BLUE.replace("white 4100 K", "deep red")
    model = model_of(ladder_of(tmp_path, text))
    assert set(model.channel.tolist()) == {0}


# ------------------------------------------------------------ stray light

DEEP = BLUE.replace("2 drops", "3 drops").replace("5 drops", "9 drops")


def with_stray(model, light):
    z = np.zeros(len(model.unknowns))
    i = model.column("stray")
    z[i] = np.log(light / model.ladder.stray) / model.unknowns[i].deviation
    return z, i


@pytest.mark.parametrize("light", [0.002, 0.03])
def test_stray_light_that_nothing_shows_is_covered_by_its_prior(tmp_path, light):
    """Neither blank nor deep chips tell it, as a camera's crosstalk looks alike.

    What they teach must allow for it.
    """
    model = model_of(ladder_of(tmp_path, DEEP))
    stray, i = with_stray(model, light)
    random, hits, n = np.random.default_rng(31), 0, 30
    for _ in range(n):
        z = random.standard_normal(len(model.unknowns))
        z[i] = stray[i]
        z, ladder = simulated(model, random, z=z)
        fit = fitted(again(model, ladder))
        weights, _ = strength_weights(fit, ladder.chips[0].layer.dosed[0].colourant)
        sigma = np.sqrt(weights @ fit.covariance @ weights)
        hits += abs(weights @ (fit.z - z)) < Z95 * sigma
    assert binom.cdf(hits, n, 0.90) > 0.005
    assert np.sqrt(fit.covariance[i, i]) > 0.8  # a prior that stays a prior


def test_an_opaque_patch_takes_stray_light_out_of_the_unknowns(tmp_path):
    read = ladder_of(tmp_path, BLUE.replace("checked", "dark = true\nchecked"))
    assert read.stray == STRAY_LEFT
    assert ladder_of(tmp_path, BLUE).stray == STRAY
