"""The plan: worth what it says, measurable, and never a fixed recipe."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from ladders import DEMO, simulated

from tintlab.chips.casts import AIM, candidates
from tintlab.chips.ladder_file import read_ladder
from tintlab.chips.learn import learn
from tintlab.chips.model import model_of
from tintlab.chips.plan import plan
from tintlab.cli import main
from tintlab.errors import InsetError
from tintlab.inset import read_inset
from tintlab.shelf import open_shelf, shelf_for

TIDE = DEMO / "tide-bell.toml"


@pytest.fixture(scope="module")
def inset():
    return read_inset(TIDE, shelf_for(TIDE))


@pytest.fixture(scope="module")
def advice(inset):
    return plan(inset)


def known(inset, name, **changed):
    """The inset with one bottle better known."""

    def better(dosed):
        bottle = dosed.colourant
        if bottle.name != name:
            return dosed
        return replace(dosed, colourant=replace(bottle, **changed))

    layers = [
        replace(layer, dosed=tuple(better(d) for d in layer.dosed))
        for layer in inset.layers
    ]
    return replace(inset, layers=tuple(layers))


def test_every_chip_more_leaves_less_and_the_plan_stops_when_it_hardly_helps(advice):
    left = [step.left for step in advice.steps]
    assert left[0] == 1.0
    assert (np.diff(left) < 0).all()
    n = len(advice.casts)
    assert left[n + 1] > left[n] * 0.93
    assert left[n] < left[n - 1] * 0.93


def test_the_largest_cause_is_taught_first(advice):
    assert advice.before.causes[0][0].name == "sea blue"
    assert [c.colourant for c in advice.steps[1].casts] == ["sea blue"]


def test_absorbances_are_those_a_camera_reads_well(advice):
    for cast in advice.casts:
        assert AIM[0] <= cast.absorbance <= AIM[1]
    # Beer-Lambert by hand: strength x g/kg x mm
    (blue,) = [c for c in advice.casts if c.colourant == "sea blue"]
    grams = int(blue.amount.split()[0]) * 0.025
    per_kg = grams / (20 + grams) * 1000
    assert blue.absorbance == pytest.approx(0.06 * per_kg * 3, rel=0.01)


def test_a_strong_bottle_is_let_down(inset):
    strong = known(inset, "sea blue", strength=6.0)
    found = [
        c
        for c in candidates(strong, batch=20, thickness=3)
        if c.colourant == "sea blue"
    ]
    assert found
    for cast in found:
        assert "let-down" in cast.amount
        assert AIM[0] <= cast.absorbance <= AIM[1]


def test_a_bottle_that_is_known_is_left_alone(inset):
    sure = known(inset, "sea blue", spread=1.05, drop_spread=1.05, grade="laddered")
    found = plan(sure)
    assert found.steps[1].casts[0].colourant == "straw"


def test_the_glow_after_is_what_was_promised(advice):
    """Cast the chips a few times: the factors that come out are those of the plan."""
    chosen = {cast.name for cast in advice.casts}
    chips = tuple(c for c in advice.ladder.chips if c.name in chosen)
    model = model_of(replace(advice.ladder, chips=chips))
    random = np.random.default_rng(31)
    got = {name: [] for name in advice.factors}
    for _ in range(6):
        _, ladder = simulated(model, random)
        for one in learn(ladder).learned:
            got[one.prior.name].append((one.factor.high - one.factor.low) / 2)
    for name, (_, after) in advice.factors.items():
        assert np.sqrt(np.mean(np.square(got[name]))) == pytest.approx(
            np.log(after), rel=0.35
        )


def test_the_spread_that_is_promised_is_narrower(advice):
    before, after = advice.before.difference, advice.after.difference
    assert np.ptp(np.percentile(after, [5, 95])) < 0.6 * np.ptp(
        np.percentile(before, [5, 95])
    )
    assert advice.after.within > advice.before.within


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ({"thickness": 0.0}, "cannot be cast"),
        ({"batch": 1e9}, "cannot be cast"),
    ],
)
def test_impossible_moulds_are_refused(inset, text, says):
    with pytest.raises(InsetError, match=says):
        plan(inset, **text)


def test_an_inset_without_bottles_is_refused(inset_of):
    bare = inset_of('[[light]]\nemitter = "red"\n')
    with pytest.raises(InsetError, match="no bottle and no ink"):
        plan(bare)


# ------------------------------------------------------------ commands


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


def test_the_plan_prints_labels_photo_and_cautions(tmp_path):
    done = run("chip", "plan", TIDE, "--write", tmp_path / "chips.toml")
    assert done.exit_code == 0, done.output
    for word in (
        *("BLANK", "The one photo", "white balance", "within a factor", "weigh 50"),
        *("nitrile", "| sea blue, "),
    ):
        assert word in done.output, word
    text = (tmp_path / "chips.toml").read_text(encoding="utf-8")
    photo = text.index("[photo]"), text.index("[[chip]]")
    filled = text[: photo[0]] + text[photo[1] :].replace(
        "medium", "ratio = [0.4, 0.5, 0.6]\nmedium"
    )
    (tmp_path / "filled.toml").write_text(filled, encoding="utf-8")
    ladder = read_ladder(tmp_path / "filled.toml", open_shelf(DEMO / "shelf"))
    assert len(ladder.chips) == text.count("[[chip]]")
    again = run("chip", "plan", TIDE, "--write", tmp_path / "chips.toml")
    assert again.exit_code == 1
    assert "there already" in again.output


def test_the_plan_as_json():
    answer = json.loads(run("chip", "plan", TIDE, "--json").output)
    assert [c["bottle"] for c in answer["chips"]] == ["sea blue", "straw"]
    assert answer["steps"][0] == {"chips": [], "left": 1.0}
    assert answer["factors"]["sea blue"][0] == 3


def test_chips_for_another_cure_are_worth_more(tmp_path):
    """A bottle that amine chips taught is less sure in peroxide, and chips mend it."""
    shelf = tmp_path / "shelf" / "bottles"
    shelf.mkdir(parents=True)
    for name in ("sea-blue", "straw"):
        text = (DEMO / "shelf" / "bottles" / f"{name}.toml").read_text(encoding="utf-8")
        learned = 'spread = 1.1\ncure = "amine"\nshift = [0, 1]\nwidth = [1, 1.05]\n'
        text = text.replace("spread = 3\n", learned, 1)
        (shelf / f"{name}.toml").write_text(text, encoding="utf-8")
    plain = (DEMO / "tide-bell.toml").read_text(encoding="utf-8")
    factors = []
    for cure in ("amine", "peroxide"):
        file = tmp_path / "piece.toml"
        file.write_text(plain.replace('"amine"', f'"{cure}"'), encoding="utf-8")
        advice = plan(read_inset(file, open_shelf(tmp_path / "shelf")))
        factors.append(advice.factors["sea blue"])
    (amine, _), (before, after) = factors
    assert amine == pytest.approx(1.1)
    assert before == pytest.approx(np.exp(np.hypot(np.log(1.1), np.log(1.25))))
    assert after < before
