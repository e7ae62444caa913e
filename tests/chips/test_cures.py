"""Cures and errors that hang together: learned apart, kept, and reckoned with later."""

import shutil
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from ladders import DEMO, ladder_of, simulated

from tintlab.causes import Z95
from tintlab.chips.evidence import Evidence, Gaussian, Story, combined
from tintlab.chips.keep import planned, with_priors, write
from tintlab.chips.learn import learn
from tintlab.chips.model import model_of
from tintlab.cli import main
from tintlab.colourants import CURED_SHIFT, CURED_SPREAD, in_cure
from tintlab.errors import ShelfError
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.shelf import open_shelf
from tintlab.solve.problem import problem_of

TODAY = "2025-03-01"
HEAD = """
name = "{name}"
emitter = "white 4100 K"
[camera]
kind = "raw"
[body]
thickness = "3 mm"
batch = "20 g"
"""
CHIP = """
[[chip]]
name = "{name}"
medium = "{medium}"
cure = "{cure}"
dyes = [{dyes}]
ratio = [0.5, 0.5, 0.5]
"""
MEDIA = {"amine": "epoxy", "peroxide": "polyester casting"}


def dosed(bottle, dose):
    return f'{{ bottle = "{bottle}", dose = "{dose}" }}'


def chip(name, cure, *dyes):
    return CHIP.format(name=name, medium=MEDIA[cure], cure=cure, dyes=", ".join(dyes))


def two_cures(bottle="sea blue", cures=("amine", "peroxide")):
    chips = [
        chip(f"{cure} {drops}", cure, dosed(bottle, f"{drops} drops"))
        for cure in cures
        for drops in (2, 5)
    ]
    return HEAD.format(name="cures") + "".join(chips)


def shelf_folder(folder):
    shutil.copytree(DEMO / "shelf", folder / "shelf")
    return folder / "shelf"


def truth(model, **moved):
    """Unknowns at 0 but for those named kind_number = value in log or nm."""
    z = np.zeros(len(model.unknowns))
    for key, value in moved.items():
        kind, number = key.rsplit("_", 1)
        i = model.column(kind.replace("_", " "), "sea blue", int(number))
        z[i] = value / model.unknowns[i].deviation
    return z


# ------------------------------------------------------------ cures


def test_a_cure_that_bleaches_and_shifts_is_learned_apart(tmp_path):
    folder = shelf_folder(tmp_path)
    ladder = with_priors(ladder_of(tmp_path, two_cures(), open_shelf(folder)))
    model = model_of(ladder)
    moved = {"strength_0": np.log(1.6), "bleach_1": np.log(0.75), "cure_shift_1": -5.0}
    z = truth(model, **moved)
    _, seen = simulated(model, np.random.default_rng(1), z=z)
    (learned,) = learn(seen).learned
    assert [e.cure for e in learned.every] == ["amine", "peroxide"]
    assert write(planned(learned, folder=folder, date=TODAY))
    bottle = open_shelf(folder).find("bottles", "sea blue")
    assert bottle.cure == "amine"
    for cure, factor in (("amine", 1.6), ("peroxide", 1.2)):
        one = in_cure(bottle, cure)
        assert one.strength / one.spread < 0.06 * factor < one.strength * one.spread
        assert one.spread < 1.6
    amine, peroxide = (in_cure(bottle, cure) for cure in MEDIA)
    away = peroxide.shift[0] - amine.shift[0]
    assert -8 < away < -2  # -5 nm in truth; without chips it would be 0 within 4
    assert peroxide.strength / amine.strength == pytest.approx(0.75, rel=0.12)


def test_chips_of_one_cure_have_no_cure_to_tell_apart(tmp_path):
    kinds = {u.kind for u in model_of(ladder_of(tmp_path)).unknowns}
    assert not kinds & {"bleach", "cure shift"}
    one = model_of(ladder_of(tmp_path, two_cures(cures=("amine",))))
    assert one.column("bleach", "sea blue") is None


def test_a_cure_that_attacks_the_dye_makes_the_prior_wider(tmp_path):
    """The medium's file says that an amine bleaches azo dyes; straw is one."""
    bottles = open_shelf(DEMO / "shelf")
    classes = {d.dye_class for d, _ in bottles.find("bottles", "straw").dyes}
    attacked = bool(classes & set(bottles.find("media", "epoxy").cures["amine"]))
    model = model_of(ladder_of(tmp_path, two_cures("straw", ("amine",))))
    assert (model.column("bleach", "straw", 0) is not None) == attacked
    red = model_of(ladder_of(tmp_path, two_cures("red resin dye", ("amine",))))
    dye = bottles.find("bottles", "red resin dye").dyes[0][0]
    hit = dye.dye_class in bottles.find("media", "epoxy").cures["amine"]
    assert (red.column("bleach", "red resin dye", 0) is not None) == hit
    yellow = replace(dye, dye_class="azo")
    ladder = ladder_of(tmp_path, two_cures("red resin dye", ("amine",)))
    chips = []
    for c in ladder.chips:
        d = c.layer.dosed[0]
        azo = replace(d.colourant, dyes=((yellow, 1.0),))
        layer = replace(c.layer, dosed=(replace(d, colourant=azo),))
        chips.append(replace(c, layer=layer))
    wide = model_of(replace(ladder, chips=tuple(chips)))
    assert wide.column("bleach", "red resin dye", 0) is not None


def test_another_cure_is_less_sure_and_its_own_chips_mend_that(tmp_path):
    folder = shelf_folder(tmp_path)
    bottle = open_shelf(folder).find("bottles", "sea blue")
    log = Gaussian(mean=np.log(0.09), deviation=np.log(1.2) / Z95)
    amine = Evidence(key="a", chips="a", kind="camera", doses=(0.4, 0.8), strength=log,
                     shift=Gaussian(mean=3.0, deviation=2.0), cure="amine")  # fmt: skip
    known = combined(Story(label=bottle, evidence=(amine,)))
    assert in_cure(known, "amine") is known
    assert in_cure(known, "") is known
    other = in_cure(known, "peroxide")
    assert in_cure(other, "peroxide") is other
    assert other.strength == known.strength
    logs = np.log([other.spread, known.spread, CURED_SPREAD])
    assert logs[0] ** 2 == pytest.approx(logs[1] ** 2 + logs[2] ** 2)
    assert other.shift[1] ** 2 == pytest.approx(known.shift[1] ** 2 + CURED_SHIFT**2)
    weaker = replace(amine, key="p", cure="peroxide",
                     strength=replace(log, mean=np.log(0.07)))  # fmt: skip
    both = combined(Story(label=bottle, evidence=(amine, weaker)))
    assert [c.cure for c in both.cures] == ["peroxide"]
    one = in_cure(both, "peroxide")
    assert one.spread < other.spread
    assert 0.07 < one.strength < 0.09  # chips of amine count, less sure
    assert one.strength < np.sqrt(0.07 * 0.09)


def test_a_glow_reckons_with_its_cure(tmp_path):
    folder = shelf_folder(tmp_path)
    path = folder / "bottles" / "sea-blue.toml"
    text = path.read_text(encoding="utf-8").replace("strength = 0.06", "strength = 0.1")
    text = text.replace("spread = 3\n", 'spread = 1.2\ncure = "amine"\n', 1)
    text += "\n[cure.peroxide]\nstrength = [0.05, 1.1]\nshift = [-6, 2]\n"
    path.write_text(text, encoding="utf-8")
    piece = tmp_path / "piece.toml"
    found = []
    for cure in ('cure = "amine"', 'cure = "peroxide"', ""):
        plain = (DEMO / "tide-bell.toml").read_text(encoding="utf-8")
        piece.write_text(plain.replace('cure = "amine"', cure), encoding="utf-8")
        inset = read_inset(piece, open_shelf(folder))
        found.append(piece_of(inset).tints[0])
    amine, peroxide, unknown = found
    assert peroxide.absorbance / amine.absorbance == pytest.approx(0.5)
    assert unknown.absorbance == amine.absorbance
    peaks = [380 + int(tint.shape.argmax()) for tint in (amine, peroxide)]
    assert peaks[1] - peaks[0] == pytest.approx(-6, abs=1)


def test_a_dose_is_found_for_its_cure(tmp_path):
    """Twice as strong in amine as in peroxide: half the drops, the rest alike."""
    folder = shelf_folder(tmp_path)
    path = folder / "bottles" / "sea-blue.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("spread = 3\n", 'spread = 1.2\ncure = "amine"\n', 1)
    text += "\n[cure.peroxide]\nstrength = [0.03, 1.2]\n"
    path.write_text(text, encoding="utf-8")
    inset = read_inset(DEMO / "tide-bell.toml", open_shelf(folder))
    bottle = open_shelf(folder).find("bottles", "sea blue")
    found = []
    for cure in ("amine", "peroxide"):
        layers = tuple(
            replace(la, cure=cure) if la.kind == "cast" else la for la in inset.layers
        )
        problem = problem_of(replace(inset, layers=layers), [bottle])
        found.append(problem.bottles[0].strength)
    assert found == pytest.approx([0.06, 0.03])


def test_the_shelf_shows_the_cures(tmp_path):
    folder = shelf_folder(tmp_path)
    path = folder / "bottles" / "sea-blue.toml"
    text = path.read_text(encoding="utf-8")
    text += "\n[cure.peroxide]\nstrength = [0.03, 1.2]\n"
    path.write_text(text, encoding="utf-8")
    words = ["shelf", "show", "sea blue", "--shelf", str(folder)]
    for more in ([], ["--json"]):
        done = CliRunner().invoke(main, [*words, *more])
        assert done.exit_code == 0, done.output
        assert "peroxide: strength 0.03 within a factor 1.2" in done.output


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[cure.peroxide]\nshift = [1, 2]", "strength takes"),
        ("[cure.peroxide]\nstrength = [1, 0.5]", "strength takes"),
        ("[cure.peroxide]\nstrength = [1, 2]\nshift = [900, 1]", "shift takes"),
        ("[cure.peroxide]\nstrenght = [1, 2]", "strength"),
        ("[cure]\nperoxide = 3", "peroxide"),
    ],
)
def test_a_cure_that_is_none_names_its_line(tmp_path, text, says):
    folder = shelf_folder(tmp_path)
    path = folder / "bottles" / "sea-blue.toml"
    old = path.read_text(encoding="utf-8")
    path.write_text(f"{old}\n{text}\n", encoding="utf-8")
    with pytest.raises(ShelfError, match=rf"sea-blue.toml:\d+: .*{says}"):
        open_shelf(folder).find("bottles", "sea blue")


# ------------------------------------------------------------ hanging together


def test_two_bottles_learned_in_turn_come_near_to_learned_at_once(tmp_path):
    """Chips of both bottles tell sums; the second ladder needs what hung together.

    Second implementation: all four chips in one file.
    """
    names = ("sea blue", "blue resin dye")
    pairs = [(3, 2), (4, 3), (1, 5), (2, 6)]
    chips = [
        chip(f"c{i}", "amine", dosed("sea blue", f"{a} drops"),
             dosed("blue resin dye", f"{b} drops"))
        for i, (a, b) in enumerate(pairs)
    ]  # fmt: skip
    at_once = HEAD.format(name="all") + "".join(chips)
    folder = shelf_folder(tmp_path)
    whole = with_priors(ladder_of(tmp_path, at_once, open_shelf(folder)))
    model = model_of(whole)
    z = np.zeros(len(model.unknowns))
    z[model.column("strength", "sea blue")] = 0.7
    z[model.column("strength", "blue resin dye")] = -0.8
    _, seen = simulated(model, np.random.default_rng(4), z=z)
    label = {name: open_shelf(folder).find("bottles", name) for name in names}
    joint = {one.prior.name: one.factor for one in learn(seen).learned}

    def turn(number, *, together=True):
        text = HEAD.format(name=f"turn {number}") + "".join(
            chips[2 * number : 2 * number + 2]
        )
        ladder = with_priors(ladder_of(tmp_path, text, open_shelf(folder)))
        ladder = ladder if together else replace(ladder, together={})
        own = [
            replace(c, sight=s.sight)
            for c, s in zip(ladder.chips, seen.chips[2 * number :], strict=False)
        ]
        return learn(replace(ladder, chips=tuple(own)))

    first = turn(0)
    rs = [e.others for one in first.learned for e in one.every]
    assert rs
    assert max(value for r in rs for value in r.values()) < -0.3
    for one in first.learned:
        assert one.every
        write(planned(one, folder=folder, date=TODAY))

    def off(lesson):
        """Distance of log strengths from those of all chips at once."""
        found = 0.0
        for one in lesson.learned:
            name = one.prior.name
            grown = np.log(one.prior.strength / label[name].strength)
            found += (grown + one.factor.middle - joint[name].middle) ** 2
        return np.sqrt(found)

    assert off(turn(1)) < off(turn(1, together=False))
