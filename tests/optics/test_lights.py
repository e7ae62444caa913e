"""Lights, shapes and refusals of `solve` and `fluxes`."""

import numpy as np
import pytest

from tintlab.errors import ModelError
from tintlab.optics import Slab, fluxes, headon_trusted, solve

GAP = Slab(index=1.0, absorbed=0.0)
CLOUDY = Slab(index=1.5, absorbed=0.3, scattered=2.0, anisotropy=0.7)
DYED = Slab(index=1.41, absorbed=0.8)

# ---- lights --------------------------------------------------------------------


@pytest.mark.parametrize("stack", [[DYED], [CLOUDY, GAP, DYED]])
def test_ways_to_name_one_light_agree(stack):
    def one(light):
        found = solve(stack, lights=(light,)).lights[0]
        return [found.reflectance, found.transmittance, found.regular, found.headon]

    assert one("normal") == pytest.approx(one(([1.0], [7.0])), rel=1e-12)
    assert one("diffuse") == pytest.approx(one(lambda m: 2 * m), abs=1e-6)
    assert one(lambda m: m**20) == pytest.approx(one(lambda m: 5 * m**20), rel=1e-12)


def test_a_narrow_beam_nears_normal_light():
    normal = solve([CLOUDY], lights=("normal",)).lights[0]
    off = [
        abs(
            float(
                solve([CLOUDY], lights=(lambda m, k=k: m**k,)).lights[0].transmittance
            )
            - float(normal.transmittance)
        )
        for k in (2, 8, 30, 80)
    ]
    assert (np.diff(off) < 0).all()
    assert off[-1] < 5e-3


def test_a_discrete_beam_is_the_mean_of_its_rays():
    rays = [solve([CLOUDY], lights=(([m], [1]),)).lights[0] for m in (0.4, 0.9)]
    both = solve([CLOUDY], lights=(([0.4, 0.9], [1, 3]),)).lights[0]
    for name in ("reflectance", "transmittance", "regular", "headon"):
        mean = (getattr(rays[0], name) + 3 * getattr(rays[1], name)) / 4
        assert getattr(both, name) == pytest.approx(mean, rel=1e-12)


def test_headon_radiance_is_withheld_where_it_has_not_settled():
    wispy = Slab(index=1.0, absorbed=0.2, scattered=0.8, anisotropy=0.8)
    assert np.isnan(fluxes([wispy]).headon)
    assert not headon_trusted([wispy])
    # Monte Carlo says the ten streams are 17 % high here, so withholding is right
    assert headon_trusted([wispy], light="diffuse")
    assert np.isfinite(fluxes([wispy], light="diffuse").headon)
    assert headon_trusted([DYED])
    assert fluxes([DYED]).headon == 0.0


# ---- shapes --------------------------------------------------------------------


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
@pytest.mark.parametrize("scattered", [0.0, 1.0])
def test_fields_broadcast(shape, scattered):
    stack = [Slab(index=1.5, absorbed=np.full(shape, 0.4), scattered=scattered), GAP]
    found = solve(stack, lights=("normal", "diffuse"))
    one = fluxes([Slab(index=1.5, absorbed=0.4, scattered=scattered)])
    for light in found.lights:
        for name in ("reflectance", "transmittance", "regular", "headon"):
            assert getattr(light, name).shape == shape
    assert found.back_headon.shape == shape
    assert found.lights[0].transmittance == pytest.approx(one.transmittance)


def test_samples_and_wavelengths_meet_in_the_right_order():
    samples = np.array([[0.5], [1.0]])
    spectrum = np.array([0.1, 0.4, 0.9])
    stack = [
        Slab(index=1.5, absorbed=samples * spectrum, scattered=1.0, anisotropy=0.5),
        Slab(index=[1.5, 1.49, 1.48], absorbed=samples),
    ]
    found = fluxes(stack)
    for i in range(2):
        for j in range(3):
            one = fluxes(
                [
                    Slab(
                        index=1.5,
                        absorbed=samples[i, 0] * spectrum[j],
                        scattered=1.0,
                        anisotropy=0.5,
                    ),
                    Slab(index=stack[1].index[j], absorbed=samples[i, 0]),
                ]
            )
            # the zone of trapped light between 1.48 and 1.5 is common to all
            assert found.transmittance[i, j] == pytest.approx(
                one.transmittance, abs=2e-5
            )


def test_many_samples_are_solved_in_pieces(monkeypatch):
    absorbed = np.linspace(0, 2, 40).reshape(4, 10)
    stack = [Slab(index=1.5, absorbed=absorbed, scattered=1.0, anisotropy=0.5), DYED]
    whole = fluxes(stack)
    monkeypatch.setattr("tintlab.optics.stack.CHUNK_SCATTERING", 7)
    pieces = fluxes(stack)
    assert pieces.transmittance == pytest.approx(whole.transmittance, rel=1e-13)


# ---- errors --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"absorbed": -0.1}, "absorbed"),
        ({"scattered": [0.1, -1e-9]}, "scattered"),
        ({"absorbed": np.nan}, "finite"),
        ({"absorbed": np.inf}, "finite"),
        ({"index": 0.99}, "index"),
        ({"anisotropy": 1.0}, "anisotropy"),
        ({"anisotropy": -1.0}, "anisotropy"),
    ],
)
def test_impossible_slabs_are_refused(fields, word):
    with pytest.raises(ModelError, match=word):
        Slab(**({"index": 1.5, "absorbed": 0.1} | fields))


@pytest.mark.parametrize(
    ("light", "word"),
    [
        ("sideways", "named lights"),
        (3, "cosine"),
        (([0.0], [1.0]), "cosines"),
        (([1.1], [1.0]), "cosines"),
        (([1.0], [1.0, 2.0]), "cosines"),
        (([1.0], [-1.0]), "negative"),
        (lambda m: 0 * m, "all 0"),
        (lambda m: m * np.nan, "not finite"),
    ],
)
def test_impossible_lights_are_refused(light, word):
    with pytest.raises(ModelError, match=word):
        fluxes([DYED], light=light)


def test_stacks_that_make_no_sense_are_refused():
    with pytest.raises(ModelError, match="no slabs"):
        fluxes([])
    with pytest.raises(ModelError, match="streams"):
        fluxes([CLOUDY], streams=2)
    with pytest.raises(ModelError, match="broadcast"):
        fluxes([Slab(index=1.5, absorbed=[1, 2]), Slab(index=1.5, absorbed=[1, 2, 3])])


def test_slabs_keep_their_own_copy():
    values = np.array([0.1, 0.2])
    slab = Slab(index=1.5, absorbed=values)
    values[0] = 9.0
    assert slab.absorbed[0] == 0.1
    with pytest.raises(ValueError, match="read-only"):
        slab.absorbed[0] = 1.0
