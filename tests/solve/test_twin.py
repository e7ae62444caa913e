"""Twins: identities, and causes that are put there on purpose."""

from dataclasses import replace
from pathlib import Path

import pytest

from tintlab.errors import InsetError
from tintlab.glow import look, miss
from tintlab.inset import Target, read_inset
from tintlab.shelf import shelf_for
from tintlab.solve.twin import twin

MASK = Path(__file__).resolve().parents[2] / "demo" / "kiln-mask"


@pytest.fixture(scope="module")
def thin():
    path = MASK / "ember-thin.toml"
    return read_inset(path, shelf_for(path))


@pytest.fixture(scope="module")
def thick():
    path = MASK / "ember-thick.toml"
    return read_inset(path, shelf_for(path))


def test_a_piece_is_its_own_twin(thin):
    found = twin(thin, thin)
    assert found.difference == pytest.approx(0, abs=1e-9)
    assert found.ratio == pytest.approx(1)
    assert found.verdict == "alike side by side"


def test_thickness_is_found_as_the_cause(thin, thick):
    found = twin(thin, thick)
    assert found.verdict == "different"
    name, left = found.causes[0]
    assert name == "thickness of layer 1"
    assert left == pytest.approx(0, abs=1e-9)


def test_another_led_is_found_as_the_cause(thin):
    other = shelf_for().find("emitters", "white 6600 K")
    light = replace(thin.lights[0], emitter=other)
    found = twin(thin, replace(thin, lights=(light,)))
    assert found.causes[0][0] == "LED"
    assert found.causes[0][1] == pytest.approx(0, abs=1e-9)


def test_twice_the_leds_is_the_same_colour_at_twice_the_light(thin):
    light = replace(thin.lights[0], count=4, pitch=None)
    one = replace(thin.lights[0], count=4, pitch=None, lumens=thin.lights[0].lumens / 2)
    found = twin(replace(thin, lights=(one,)), replace(thin, lights=(light,)))
    assert found.colour_only < 0.2  # room light on top is the same for both
    assert found.ratio == pytest.approx(2, rel=0.02)
    assert found.verdict == "same colour, different brightness"


def test_matching_dose_matches(thin, thick):
    """B with the dose found has A's colour at its own depth, about one third."""
    found = twin(thin, thick)
    recipe = found.match.recipes[0]
    as_target = Target(Lab=look(thin).Lab, region=None)
    matched = replace(recipe.inset, target=as_target)
    assert float(miss(matched, look(matched).XYZ)) < 2
    ratio = recipe.parts[0].grams / thick.layers[0].dosed[0].grams
    assert ratio == pytest.approx(1 / 3, rel=0.12)


def test_one_size_missing_is_a_mistake(thin):
    with pytest.raises(InsetError, match="size"):
        twin(thin, replace(thin, size=None))
