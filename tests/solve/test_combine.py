import itertools
import math
from types import SimpleNamespace

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tintlab.colorimetry import XYZ_to_Lab, delta_e_2000, illuminant, tables
from tintlab.errors import ModelError, OutOfReach, SpectrumError
from tintlab.solve import combine as module
from tintlab.solve.combine import combine, count_combinations
from tintlab.spectrum import WAVELENGTHS

N = WAVELENGTHS.size


def white_light():
    power = illuminant("LED-B3")
    return power / (power @ tables().observer[:, 1])


def single_colour_light(peak, width=9.0):
    power = np.exp(-(((WAVELENGTHS - peak) / width) ** 2) / 2)
    return power / (power @ tables().observer[:, 1])


def random_films(rng, inks, coats):
    """Gaussian absorbance bands; A(n) = A(1) (1 + 0.8 (n - 1)), assumed."""
    peaks, widths = rng.uniform(400, 680, (2, inks, 2, 1)) * [[[[1]]], [[[0.09]]]]
    bands = rng.uniform(0.05, 1.0, (inks, 2, 1)) * np.exp(
        -(((WAVELENGTHS - peaks) / widths) ** 2) / 2
    )
    absorbance = bands.sum(axis=1)[:, None] + rng.uniform(0, 0.03, (inks, 1, 1))
    return 10 ** (-absorbance * (1 + 0.8 * np.arange(coats))[:, None])


# --- second implementation: every combination, one at a time, then every pair -------


def every_combination(inks, coats, most_inks):
    for k in range(most_inks + 1):
        for chosen in itertools.combinations(range(inks), k):
            for layers in itertools.product(range(1, coats + 1), repeat=k):
                yield tuple(zip(chosen, layers, strict=True))


def enumerate_all(
    power,
    films,
    target,
    *,
    most_inks=3,
    lightness="free",
    veil=(0, 0, 0),
    min_light_kept=0.0,
    exact=None,
    distance=None,
    **_ignored,
):
    combinations = list(every_combination(*films.shape[:2], most_inks))
    XYZ = np.empty((len(combinations), 3))
    for i, combination in enumerate(combinations):
        glow = power.copy()
        for ink, coats in combination:
            glow = films[ink, coats - 1] * glow
        XYZ[i] = (glow[:, None] * tables().observer).sum(axis=0)
    if exact is not None:
        XYZ = exact(combinations)
    kept, XYZ = XYZ[:, 1].round(9), XYZ + np.asarray(veil)
    if distance is not None:
        difference = distance(XYZ)
    elif lightness == "match":
        difference = delta_e_2000(XYZ_to_Lab(XYZ), target)
    else:
        common = ((max(target[0], 50.0) + 16) / 116) ** 3  # Y at the common L*
        if target[0] < 50:
            wanted = colour.Lab_to_XYZ(target, colour.XYZ_to_xy(tables().white))
            target = XYZ_to_Lab(wanted / wanted[1] * common)
        difference = delta_e_2000(XYZ_to_Lab(XYZ / XYZ[:, 1:2] * common), target)
    difference = difference.round(9)
    coats = np.array([sum(n for _, n in c) for c in combinations])
    rows = np.flatnonzero((kept >= min_light_kept) & (difference <= difference[0]))
    if not rows.size:
        return SimpleNamespace(front=[], best=None, count=len(combinations))
    rows = np.array(
        sorted(rows, key=lambda i: (difference[i], coats[i], -kept[i], combinations[i]))
    )
    front = []
    for place, i in enumerate(rows):
        other = rows[rows != i]
        as_good = (
            (difference[other] <= difference[i])
            & (kept[other] >= kept[i])
            & (coats[other] <= coats[i])
        )
        better = (
            (difference[other] < difference[i])
            | (kept[other] > kept[i])
            | (coats[other] < coats[i])
            | np.isin(other, rows[:place])  # an earlier twin
        )
        if not (as_good & better).any():
            front.append((combinations[i], difference[i], kept[i]))
    return SimpleNamespace(front=front, best=front[0], count=len(combinations))


def recycling(power, films, reflectance):
    """Glow on the viewer's side: P T (1 - r) / (1 - r T^2), a bouncing film."""

    def exact(combinations):
        answer = []
        for combination in combinations:
            T = np.ones(N)
            for ink, coats in combination:
                T = T * films[ink, coats - 1]
            h = (1 - reflectance) / (1 - reflectance * T**2)
            answer.append((power * T * h) @ tables().observer)
        return np.array(answer)

    return exact


def random_case(seed):
    rng = np.random.default_rng(seed)
    inks, coats = int(rng.integers(4, 7)), int(rng.integers(2, 5))
    most_inks = 4 if seed % 3 == 0 else 3
    coats = min(coats, 3) if most_inks == 4 else coats
    films = random_films(rng, inks, coats)
    peak = rng.uniform(470, 620)
    power = single_colour_light(peak, 25) if seed % 5 == 4 else white_light()
    options = {
        "most_inks": most_inks,
        "lightness": ("free", "match")[seed % 2],
    }
    if seed % 4 >= 2:
        options["veil"] = rng.uniform(0, 0.05, 3)
    if seed % 7 in (2, 3):
        options["min_light_kept"] = float(rng.uniform(0.05, 0.5))
    if seed % 6 in (1, 2):
        reflectance = rng.uniform(0, 0.5) * np.linspace(0.5, 1, N)
        options["floor"] = 1 - reflectance
        options["exact"] = recycling(power, films, reflectance)
    if seed % 8 < 4:  # inside: what some combination gives
        chosen = rng.permutation(inks)[:3]
        glow = power * films[chosen, rng.integers(0, coats, 3)].prod(axis=0)
        target = XYZ_to_Lab(glow @ tables().observer + options.get("veil", 0))
    else:
        a, b = rng.uniform(-70, 70, 2)
        target = np.array([rng.uniform(10, 90), a, b])
    return power, films, target, options


def check_against_all(power, films, target, options):
    answer = combine(power, films, target, **options)
    everything = enumerate_all(power, films, target, **options)
    front = [c.combination for c in answer.front]
    assert front == [combination for combination, _, _ in everything.front]
    numbers = [(c.difference, c.light_kept) for c in answer.front]
    expected = [(difference, kept) for _, difference, kept in everything.front]
    np.testing.assert_allclose(numbers, expected, rtol=0, atol=2e-9)
    assert answer.best == answer.front[0]
    assert answer.covered == answer.total == everything.count
    assert answer.scored + answer.pruned == answer.covered
    return answer


@pytest.mark.parametrize("seed", range(42))
def test_equals_trying_them_all(seed):
    check_against_all(*random_case(seed))


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.integers(1000, 10**6))
def test_equals_trying_them_all_for_any_shelf(seed):
    power, films, target, options = random_case(seed)
    try:
        check_against_all(power, films, target, options)
    except OutOfReach:
        assert not enumerate_all(power, films, target, **options).front


def test_the_bound_rules_out_most():
    # Pinned: 99.6 to 99.9 % on 2026-11-25; tiny shelves are pruned less.
    films = random_films(np.random.default_rng(6), 10, 6)
    for lightness, target in itertools.product(
        ("free", "match"), ([62, -38, 4], [40, 20, -60], [60, 0, 0])
    ):
        answer = combine(white_light(), films, target, lightness=lightness)
        assert answer.pruned > 0.9 * answer.total


def test_equals_colour_science():
    films = random_films(np.random.default_rng(5), 4, 2)
    target, power = np.array([55.0, 20.0, 35.0]), white_light()
    answer = combine(power, films, target, most_inks=2)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    shape = colour.SpectralShape(380, 780, 1)
    white_xy = colour.XYZ_to_xy(tables().white)
    level = colour.Lab_to_XYZ([55, 0, 0], white_xy)[1]
    least = math.inf
    for combination in every_combination(4, 2, 2):
        glow = power.copy()
        for ink, coats in combination:
            glow = glow * films[ink, coats - 1]
        XYZ = colour.sd_to_XYZ(
            colour.SpectralDistribution(glow, WAVELENGTHS),
            observer.copy().align(shape),
            method="Integration",
        )
        Lab = colour.XYZ_to_Lab(XYZ / XYZ[1] * level, white_xy)
        difference = colour.delta_E(Lab, target, method="CIE 2000")
        if difference < least:
            least, best = difference, combination
    assert answer.best.combination == best
    assert answer.best.difference == pytest.approx(least, abs=1e-6)


def test_seven_inks_in_small_blocks(monkeypatch):
    monkeypatch.setattr(module, "BLOCK_HEADS", 5)
    monkeypatch.setattr(module, "BLOCK_TAILS", 3)
    monkeypatch.setattr(module, "BLOCK_SCORED", 4)
    films = random_films(np.random.default_rng(7), 7, 2)
    for most_inks in (1, 2, 3, 4):
        options = {"most_inks": most_inks}
        check_against_all(white_light(), films, np.array([60.0, 30, 20]), options)


def test_region_distance_scores_everything():
    films = random_films(np.random.default_rng(11), 5, 3)

    def distance(XYZ):
        u, v = (XYZ[:, :2] * (4, 9) / (XYZ @ (1, 15, 3))[:, None]).T
        return np.maximum(abs(u - 0.3) - 0.02, abs(v - 0.5) - 0.01)  # < 0 inside

    options = {"distance": distance, "min_light_kept": 0.1}
    answer = check_against_all(white_light(), films, None, options)
    assert answer.scored == answer.total
    assert answer.pruned == 0


# --- identities and edges -----------------------------------------------------------


def test_no_inks_is_nothing_at_all():
    answer = combine(white_light(), np.empty((0, 6, N)), [50, 10, 10])
    assert answer.best.combination == ()
    assert answer.best.light_kept == pytest.approx(1, abs=1e-9)
    assert (answer.covered, answer.total, answer.scored) == (1, 1, 1)


def test_one_ink():
    films = random_films(np.random.default_rng(2), 1, 6)
    answer = check_against_all(white_light(), films, np.array([60.0, 30, 20]), {})
    assert answer.total == 7


def test_target_inside_is_found():
    films, power = random_films(np.random.default_rng(3), 12, 6), white_light()
    wanted = ((2, 3), (5, 6), (9, 1))
    glow = power * films[2, 2] * films[5, 5] * films[9, 0]
    Lab = XYZ_to_Lab(glow @ tables().observer)
    for lightness in ("free", "match"):
        answer = combine(power, films, Lab, lightness=lightness)
        assert answer.best.combination == wanted
        assert answer.best.difference < 1e-8


def test_target_of_the_bare_piece_needs_no_ink():
    films, power = random_films(np.random.default_rng(3), 6, 3), white_light()
    answer = combine(power, films, XYZ_to_Lab(power @ tables().observer))
    assert [c.combination for c in answer.front] == [()]


def test_ties_go_to_the_lowest_ink():
    films = random_films(np.random.default_rng(4), 3, 3)
    twins = films[[2, 0, 0, 1, 1, 2]]
    for target in ([50, 30, -20], [60, 0, 0], [70, -30, 30]):
        single = combine(white_light(), films, target)
        doubled = combine(white_light(), twins, target)
        assert doubled.best.difference <= single.best.difference
        expected = enumerate_all(white_light(), twins, np.array(target, float))
        assert [c.combination for c in doubled.front] == [
            combination for combination, _, _ in expected.front
        ]


def test_grey_film_is_no_help_but_light_decides():
    grey = np.full((2, 2, N), [[[0.5], [0.25]], [[0.6], [0.36]]])
    answer = combine(white_light(), grey, [50, 30, -20])
    assert answer.best.combination == ()
    assert len(answer.front) == 1


def test_neutral_target_is_exact():
    films = random_films(np.random.default_rng(8), 5, 3)
    for target in ([70.0, 0, 0], [30.0, 0, 0], [30.0, 1e-7, 0]):
        for lightness in ("free", "match"):
            options = {"lightness": lightness}
            check_against_all(white_light(), films, np.array(target), options)


def test_single_colour_light():
    films = random_films(np.random.default_rng(9), 5, 3)
    for peak in (385, 450, 520, 640, 770):
        power = single_colour_light(peak)
        check_against_all(power, films, np.array([50.0, 40, -10]), {})


def test_films_darker_than_float32_can_hold():
    films = random_films(np.random.default_rng(10), 4, 2) ** 60
    for seed in range(4):
        rng = np.random.default_rng(seed)
        glow = white_light() * films[rng.permutation(4)[:3], 1].prod(axis=0)
        XYZ = glow @ tables().observer
        target = XYZ_to_Lab(XYZ / XYZ[1] * 0.3)
        check_against_all(white_light(), films, target, {})


def test_dark_targets_and_dark_films_where_lightness_counts():
    films = random_films(np.random.default_rng(10), 5, 2)
    options = {"lightness": "match"}
    for power in (1, 8, 20, 60):
        for target in ([1e-7, 0, 0], [0.5, 0.2, -0.3], [3.0, 0, 4], [15.0, -9, 2]):
            check_against_all(white_light(), films**power, np.array(target), options)


def test_films_as_dark_as_float32_can_just_hold():
    films = random_films(np.random.default_rng(10), 6, 2) * 1e-14
    for seed in range(4):
        chosen = np.random.default_rng(seed).permutation(6)[:3]
        glow = white_light() * films[chosen, 1].prod(axis=0) * 1e40
        XYZ = glow @ tables().observer
        target = XYZ_to_Lab(XYZ / XYZ[1] * 0.3)
        check_against_all(white_light(), films, target, {})


@pytest.mark.parametrize("seed", range(6))
def test_strong_bounces(seed):
    rng = np.random.default_rng(seed)
    films, power = random_films(rng, 5, 3), white_light()
    exact = recycling(power, films, np.full(N, 0.9))
    glow = exact([((0, 2), (2, 1), (4, 3)), ((1, 1), (3, 2))])[seed % 2]
    options = {"floor": np.full(N, 0.1), "exact": exact, "lightness": "match"}
    check_against_all(power, films, XYZ_to_Lab(glow), options)


def test_a_floor_of_one_is_the_exact_product():
    films, power = random_films(np.random.default_rng(12), 5, 3), white_light()
    exact = recycling(power, films, np.zeros(N))
    plain = combine(power, films, [55, -30, 20])
    floored = combine(power, films, [55, -30, 20], floor=np.ones(N), exact=exact)
    assert [c.combination for c in plain.front] == [
        c.combination for c in floored.front
    ]


def test_reference_scales_light_kept_only():
    films = random_films(np.random.default_rng(13), 5, 3)
    plain = combine(white_light(), films, [55, -30, 20], min_light_kept=0.2)
    double = combine(
        white_light(), films, [55, -30, 20], min_light_kept=0.1, reference_Y=2.0
    )
    assert [c.combination for c in plain.front] == [c.combination for c in double.front]
    assert double.best.light_kept == pytest.approx(plain.best.light_kept / 2, abs=2e-9)


def test_best_keeps_the_wanted_light():
    films = random_films(np.random.default_rng(14), 6, 4)
    for least in (0.0, 0.2, 0.5, 0.9):
        answer = combine(white_light(), films, [40, 60, 40], min_light_kept=least)
        assert all(c.light_kept >= least for c in answer.front)


def test_front_size_keeps_the_least_differences():
    films = random_films(np.random.default_rng(15), 6, 4)
    whole = combine(white_light(), films, [40, 60, 40]).front
    assert len(whole) > 5
    assert combine(white_light(), films, [40, 60, 40], front_size=5).front == whole[:5]


def test_progress_ends_at_the_total_and_never_falls():
    seen = []
    films = random_films(np.random.default_rng(16), 6, 3)
    answer = combine(
        white_light(),
        films,
        [50, 20, 20],
        most_inks=4,
        progress=lambda done, total: seen.append((done, total)),
    )
    done = [d for d, _ in seen]
    assert done == sorted(done)
    assert seen[-1] == (answer.total, answer.total)
    assert {t for _, t in seen} == {answer.total}


@pytest.mark.parametrize("inks", [0, 1, 3, 6])
@pytest.mark.parametrize("most_inks", [1, 2, 3, 4])
def test_count_is_the_closed_form(inks, most_inks):
    films = random_films(np.random.default_rng(17), inks, 2)
    answer = combine(white_light(), films, [50, 20, 20], most_inks=most_inks)
    count = len(list(every_combination(inks, 2, most_inks)))
    closed = count_combinations(inks=inks, coats=2, most_inks=most_inks)
    assert answer.covered == answer.total == count == closed
    assert f"all {count:,} combinations are covered" in answer.proof


# --- what is refused ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"films": np.ones((2, 3, 81))}, SpectrumError, r"\(2, 3, 81\)"),
        ({"power": np.ones(81)}, SpectrumError, r"\(81,\)"),
        ({"films": np.full((2, 3, N), 1.1)}, ModelError, "films outside 0 to 1"),
        ({"power": np.full(N, np.nan)}, ModelError, "power"),
        ({"power": np.zeros(N)}, ModelError, "no luminance"),
        ({"reference_Y": 0.0}, ModelError, "no luminance"),
        ({"veil": [-0.1, 0, 0]}, ModelError, "veil"),
        ({"veil": [0.1]}, ModelError, "three values"),
        ({"floor": np.ones(N)}, ModelError, "only one of floor and exact"),
        ({"floor": np.ones(3), "exact": len}, SpectrumError, r"\(3,\)"),
        ({"lightness": "fixed"}, ModelError, '"fixed"'),
        ({"most_inks": 5}, ModelError, "up to 5 inks"),
        ({"most_inks": 0}, ModelError, "up to 0 inks"),
        ({"target": [50, 0]}, ModelError, "three values"),
        ({"target": [0, 0, 0]}, ModelError, "without lightness"),
        ({"target": None}, ModelError, "exactly one"),
        ({"distance": len}, ModelError, "exactly one"),
        ({"min_light_kept": 1.1}, OutOfReach, "at least 1.1 of the light"),
        (
            {"floor": np.ones(N), "exact": lambda c: np.ones((len(c), 2))},
            ModelError,
            r"shape \(1, 2\)",
        ),
        (
            {"floor": np.ones(N), "exact": lambda c: np.zeros((len(c), 3))},
            ModelError,
            "its difference is inf",
        ),
    ],
)
def test_refusals_say_what_to_do(change, error, words):
    given = {
        "power": white_light(),
        "films": np.ones((2, 3, N)),
        "target": [50, 10, 10],
    }
    with pytest.raises(error, match=words):
        combine(**(given | change))
