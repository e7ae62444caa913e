"""The maker's shelf: evidence adds up, and a write is whole or not at all."""

import shutil
import tomllib
from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from ladders import BLUE, DEMO, ladder_of, simulated

from tintlab.causes import Z95
from tintlab.chips import keep
from tintlab.chips.evidence import (
    LEAST,
    REPEATED_DROP,
    Evidence,
    Gaussian,
    Story,
    combined,
    without,
)
from tintlab.chips.keep import planned, with_priors, write, write_new
from tintlab.chips.learn import learn
from tintlab.chips.metered import learn_metered
from tintlab.chips.model import model_of
from tintlab.chips.story_file import quoted, story_of
from tintlab.errors import InsetError, ShelfError
from tintlab.glow import look
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.shelf import open_shelf
from tintlab.spread import spread_of

TODAY = "2025-03-01"


@pytest.fixture
def own(tmp_path):
    """A shelf of one's own with the demo's bottles."""
    folder = tmp_path / "shelf"
    shutil.copytree(DEMO / "shelf", folder)
    return folder


def bottle(folder, name="sea blue"):
    return open_shelf(folder).find("bottles", name)


def evidence(key, strength, spread, **more):
    log = Gaussian(mean=float(np.log(strength)), deviation=np.log(spread) / Z95)
    base = {"key": key, "chips": key, "kind": "camera", "doses": (0.5,), "date": TODAY}
    return Evidence(**{**base, "strength": log, **more})


def lesson(tmp_path, own, *, name="blue chips", seed=1, true=0.9, weigh=""):
    """Learn from a ladder whose bottle is exp(true x 0.668) times the label."""
    text = BLUE.replace("blue chips", name) + weigh
    ladder = with_priors(ladder_of(tmp_path, text, open_shelf(own)))
    plain = model_of(ladder_of(tmp_path, text, open_shelf(DEMO / "shelf")))
    z = np.zeros(len(plain.unknowns))
    z[plain.column("strength", "sea blue")] = true
    _, seen = simulated(plain, np.random.default_rng(seed), z=z)
    chips = tuple(
        replace(chip, sight=other.sight)
        for chip, other in zip(ladder.chips, seen.chips, strict=True)
    )
    return learn(replace(ladder, chips=chips))


def taught(tmp_path, own, **more):
    (learned,) = lesson(tmp_path, own, **more).learned
    plan = planned(learned, folder=own, date=TODAY)
    return plan, write(plan)


# ------------------------------------------------------------ combining


def test_evidence_multiplies_label(own):
    label = bottle(own)
    found = combined(Story(label=label, evidence=(evidence("a", 0.12, 1.5),)))
    w_label, w_new = (Z95 / np.log(3)) ** 2, (Z95 / np.log(1.5)) ** 2
    mean = (w_label * np.log(0.06) + w_new * np.log(0.12)) / (w_label + w_new)
    assert found.strength == pytest.approx(np.exp(mean))
    assert found.spread == pytest.approx(np.exp(Z95 * (w_label + w_new) ** -0.5))
    assert found.grade == "chipped"
    assert found.drop_spread == label.drop_spread


def test_the_order_of_evidence_does_not_matter(own):
    parts = [
        evidence("a", 0.12, 1.5, shift=Gaussian(mean=4.0, deviation=3.0)),
        evidence("b", 0.09, 1.2, doses=(0.4, 0.9), kind="light"),
        evidence("c", 0.10, 1.3, by_drop=True, drop=0.025),
    ]
    found = [
        combined(Story(label=bottle(own), evidence=order))
        for order in permutations(parts)
    ]
    for one in found:
        assert one.strength == pytest.approx(found[0].strength)
        assert one.spread == pytest.approx(found[0].spread)
        assert one.shift == pytest.approx(found[0].shift)
        assert one.grade == "laddered"


def test_more_evidence_narrows_but_never_below_the_floor(own):
    spreads = [
        combined(
            Story(
                label=bottle(own),
                evidence=tuple(evidence(str(i), 0.1, 1.2) for i in range(n)),
            )
        ).spread
        for n in (0, 1, 2, 4, 60)
    ]
    assert (np.diff(spreads) < 0).all()
    assert spreads[-1] == LEAST
    # four equal measurements halve the deviation, the label hardly counts
    assert np.log(spreads[3]) == pytest.approx(np.log(1.2) / 2, rel=0.02)


def test_strength_by_the_drop_turns_into_grams_when_the_drop_is_weighed(own):
    """Twice the mass a drop means half the strength a gram."""
    story = Story(
        label=bottle(own),
        evidence=(evidence("a", 0.1, 1.05, by_drop=True, drop=0.025),),
    )
    by_drop = combined(story)
    assert by_drop.drop_spread == REPEATED_DROP
    assert by_drop.strength == pytest.approx(0.1, rel=0.01)
    weighed = replace(story.label, drop=0.05, drop_spread=1.05)
    grams = combined(replace(story, label=weighed))
    assert grams.strength == pytest.approx(0.05, rel=0.02)
    assert grams.strength * grams.drop == pytest.approx(
        by_drop.strength * by_drop.drop, rel=0.02
    )
    assert np.log(grams.spread) == pytest.approx(np.hypot(np.log(1.05), np.log(1.05)),
                                                 rel=0.02)  # fmt: skip


def test_a_broader_band_keeps_its_area(own):
    wide = Gaussian(mean=float(np.log(1.25)), deviation=0.001)
    label = bottle(own)
    plain = combined(Story(label=label, evidence=(evidence("a", 0.1, 1.05),)))
    broad = combined(
        Story(label=label, evidence=(evidence("a", 0.1, 1.05, width=wide),))
    )
    assert broad.width[0] == pytest.approx(1.25, rel=0.01)
    assert broad.strength * broad.width[0] == pytest.approx(plain.strength, rel=0.01)


# ------------------------------------------------------------ files


def test_what_is_written_is_what_a_glow_reckons_with(tmp_path, own):
    shutil.copy(DEMO / "tide-bell.toml", tmp_path / "piece.toml")
    inset = read_inset(tmp_path / "piece.toml", open_shelf(own))
    piece = piece_of(inset)
    before = spread_of(inset, piece, look(inset, piece=piece), samples=100)
    plan, written = taught(tmp_path, own)
    assert written == [own / "bottles" / "sea-blue.toml"]
    inset = read_inset(tmp_path / "piece.toml", open_shelf(own))
    piece = piece_of(inset)
    after = spread_of(inset, piece, look(inset, piece=piece), samples=100)
    assert (
        after.Lab[:, 1:].var(axis=0).sum() < 0.6 * before.Lab[:, 1:].var(axis=0).sum()
    )
    found = bottle(own)
    assert found.grade == "laddered"
    assert found.source.kind == "learned"
    assert found.date == TODAY
    assert found.spread < 1.5
    true = 0.06 * np.exp(0.9 * np.log(3) / Z95)
    assert true / found.spread < found.strength < true * found.spread
    assert found.strength == pytest.approx(plan.after.strength, rel=1e-4)


def test_the_same_chips_read_again_count_once(tmp_path, own):
    taught(tmp_path, own)
    first = (own / "bottles" / "sea-blue.toml").read_bytes()
    _, written = taught(tmp_path, own)
    assert written == []
    assert (own / "bottles" / "sea-blue.toml").read_bytes() == first


def test_other_chips_add_to_the_first_and_the_label_is_kept(tmp_path, own):
    taught(tmp_path, own)
    one = bottle(own)
    taught(tmp_path, own, name="more chips", seed=2)
    both = bottle(own)
    assert both.spread < one.spread
    story = story_of(both)
    assert [e.chips for e in story.evidence] == ["blue chips", "more chips"]
    assert story.label.strength == pytest.approx(0.06)
    assert story.label.spread == pytest.approx(3)
    assert "invented for the demo" in story.label.source.citation
    left = combined(without(story, story.evidence[1].key))
    assert left.strength == pytest.approx(one.strength, rel=1e-3)
    assert left.spread == pytest.approx(one.spread, rel=1e-3)


def test_weighing_later_mends_the_file(tmp_path, own):
    taught(tmp_path, own)
    by_drop = bottle(own)
    weigh = '[[weighed]]\nbottle = "sea blue"\ndrops = 50\nmass = "1.5 g"\n'
    taught(tmp_path, own, name="more chips", seed=2, weigh=weigh)
    found = bottle(own)
    assert found.drop == pytest.approx(0.03)
    assert found.drop_spread < 1.1
    per_drop = by_drop.strength * by_drop.drop
    assert found.strength * found.drop == pytest.approx(per_drop, rel=0.25)


def test_the_file_that_was_there_is_kept(tmp_path, own):
    path = own / "bottles" / "sea-blue.toml"
    old = path.read_bytes()
    taught(tmp_path, own)
    assert path.with_name("sea-blue.toml.old").read_bytes() == old
    assert sorted(open_shelf(own).names("bottles"))[:1] == ["black resin dye"]
    assert {p.name for p in path.parent.iterdir()} == {
        *("sea-blue.toml", "sea-blue.toml.old", "straw.toml"),
    }


@pytest.mark.parametrize("moment", ["replace", "fsync", "read"])
def test_an_interrupted_write_loses_nothing(tmp_path, own, monkeypatch, moment):
    path = own / "bottles" / "sea-blue.toml"
    old = path.read_bytes()
    (learned,) = lesson(tmp_path, own).learned
    plan = planned(learned, folder=own, date=TODAY)

    def fails(*_):
        raise OSError(28, "No space left on device")

    if moment == "replace":
        monkeypatch.setattr(Path, "replace", fails)
    elif moment == "fsync":
        monkeypatch.setattr(keep.os, "fsync", fails)
    else:
        plan = replace(plan, text=plan.text.replace("strength = ", "strenght = ", 1))
    with pytest.raises(ShelfError) as found:
        write(plan)
    assert "\n" not in str(found.value)
    assert path.read_bytes() == old
    assert {p.name for p in path.parent.iterdir()} == {"sea-blue.toml", "straw.toml"}


def test_a_shipped_bottle_goes_to_the_maker_s_own_shelf(tmp_path, own):
    text = BLUE.replace("sea blue", "blue resin dye")
    model = model_of(ladder_of(tmp_path, text))
    z = np.zeros(len(model.unknowns))
    _, ladder = simulated(model, np.random.default_rng(1), z=z)
    (learned,) = learn(ladder).learned
    plan = planned(learned, folder=own, date=TODAY)
    assert write(plan) == [own / "bottles" / "blue-resin-dye.toml"]
    assert bottle(own, "blue resin dye").grade == "laddered"


def test_texts_survive_the_writing(tmp_path, own):
    path = own / "bottles" / "sea-blue.toml"
    odd = 'a "quoted" \\ back, \N{EM DASH} tab\\t'
    text = path.read_text(encoding="utf-8").replace(
        'carrier = "alcohol"', f"carrier = {quoted(odd)}"
    )
    path.write_text(text, encoding="utf-8")
    taught(tmp_path, own)
    assert bottle(own).carrier == odd
    assert tomllib.loads(path.read_text(encoding="utf-8"))["bottle"]["carrier"] == odd


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("by_drop = true", "by_drop = 3", "by_drop = 3"),
        ("[label]", "[lable]", "lable"),
        ("strength = [", "strenght = [", '"strength"'),
        ('key = "', 'kay = "', '"key" is missing'),
    ],
)
def test_a_broken_story_names_its_line(tmp_path, own, old, new, says):
    taught(tmp_path, own)
    path = own / "bottles" / "sea-blue.toml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(ShelfError, match=r"sea-blue.toml:\d+: ") as found:
        story_of(bottle(own))
    assert says in str(found.value)


def test_a_new_file_never_replaces(tmp_path):
    path = tmp_path / "x.toml"
    write_new(path, "a = 1\n")
    with pytest.raises(ShelfError, match="there already"):
        write_new(path, "a = 2\n")
    assert path.read_text(encoding="utf-8") == "a = 1\n"
    with pytest.raises(ShelfError, match="check the folder"):
        write_new(tmp_path / "none" / "x.toml", "")


def test_a_measured_curve_becomes_a_dye_of_the_bottle(tmp_path, own):
    from test_learn import metered  # noqa: PLC0415

    (found,) = learn_metered(metered(tmp_path))
    dye = (found.dye, found.curve)
    plan = planned(found.learned, folder=own, date=TODAY, dye=dye)
    written = write(plan)
    assert [path.parent.name for path in written] == ["dyes", "bottles"]
    kept = open_shelf(tmp_path).find("bottles", "test bottle")
    assert kept.grade == "metered"
    assert kept.dyes[0][0].name == "test bottle measured"
    assert kept.dyes[0][0].tabled == pytest.approx(found.curve, abs=1e-5)
    assert kept.spread < 1.1


def test_a_spectrum_counts_before_what_a_camera_said_of_the_bands(tmp_path):
    """The measured curve has its own place and width; nothing may move it again."""
    from test_learn import metered  # noqa: PLC0415

    (found,) = learn_metered(metered(tmp_path))
    bottle_ = found.learned.prior
    seen = evidence("camera", 0.08, 1.2, shift=Gaussian(mean=4.0, deviation=2.0),
                    width=Gaussian(mean=-0.2, deviation=0.05))  # fmt: skip
    story = Story(label=bottle_, evidence=(seen, found.learned.evidence))
    both = combined(story)
    assert both.shift is None
    assert both.width is None
    true = 0.8 / 3 / (0.1 / 20.1 * 1000)
    assert both.strength == pytest.approx(true, rel=0.01)
    assert both.grade == "metered"


def test_drops_without_chips_are_told_where_they_go(tmp_path):
    head = BLUE[: BLUE.index("[[chip]]")]
    weighed = '[[weighed]]\nbottle = "sea blue"\ndrops = 50\nmass = "1.31 g"\n'
    with pytest.raises(InsetError, match=r"drop = 0\.0262 and drop_spread = 1\.0"):
        ladder_of(tmp_path, head + weighed)


def test_a_water_drop_is_that_of_the_pharmacopoeia(own):
    """USP <1101> (from memory): 45 to 55 mg of water from a standard dropper."""
    path = own / "bottles" / "sea-blue.toml"
    text = path.read_text(encoding="utf-8").replace("drop = 0.025\n", "")
    path.write_text(text.replace('"alcohol"', '"water"'), encoding="utf-8")
    assert 0.045 < bottle(own).drop < 0.055
    path.write_text(text, encoding="utf-8")
    assert bottle(own).drop == pytest.approx(0.025)
