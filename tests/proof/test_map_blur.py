"""Sideways spread of light against closed forms and a Monte Carlo."""

import numpy as np
import pytest
from lateral import walked
from scipy.special import j0, k1

from tintlab.inset import shapes
from tintlab.optics import Slab, solve
from tintlab.piece import piece_of
from tintlab.proof.map_blur import (
    Sheet,
    apparent_depth,
    bessel_j0,
    blurred,
    lobe_transfer,
    scatterer_transfer,
    sheets_of,
    transfer_of,
)
from tintlab.proof.map_stack import NODES

Q = np.array([0.25, 0.5, 1.0, 2.0, 4.0])  # per thickness
OPAL, SATIN = (1.49, 3.0, 6.0, 0.85), (1.49, 2.0, 1.4, 0.85)
FILM, PAPER = (1.49, 0.1, 1.1, 0.9), (1.5, 0.06, 2.7, 0.8)


def gap(thickness):
    return (1.0, thickness, 0.0, 0.0)


def sheet(index, thickness, scattered, anisotropy):
    return Sheet(
        thickness=thickness,
        index=index,
        scattered=scattered,
        transport=scattered * (1 - anisotropy),
    )


def lobe_of(slabs):
    stack = [
        Slab(index=n, absorbed=0.0, scattered=s, anisotropy=g) for n, _, s, g in slabs
    ]
    lights = [(np.array([node]), np.ones(1)) for node in NODES]
    return [float(light.headon) for light in solve(stack, lights=lights).lights]


# ---- second implementation: photons followed one by one ---------------------------


@pytest.mark.parametrize(
    ("slabs", "bound"),
    [
        ([OPAL], 0.03),
        ([SATIN], 0.03),
        ([PAPER], 0.03),
        ([FILM], 0.05),
        ([(1.49, 1.0, 8.0, 0.0)], 0.04),
        ([OPAL, gap(10.0), SATIN], 0.11),
        ([FILM, gap(10.0), FILM], 0.11),
        ([PAPER, gap(5.0), PAPER], 0.11),
        ([OPAL, gap(5.0), (1.5, 9.0, 0.0, 0.0), gap(5.0), OPAL], 0.06),
        # in contact light is trapped between two weak scatterers, which the model
        # knows in part only
        ([FILM, (1.5, 9.0, 0.0, 0.0), FILM], 0.18),
    ],
    ids=lambda x: "+".join(f"{s[1]:g}" for s in x) if isinstance(x, list) else str(x),
)
def test_transfer_function_of_a_stack(slabs, bound):
    """By reciprocity light walks from the viewer back to the box."""
    whole = sum(slab[1] for slab in slabs)
    landed = walked(slabs=slabs[::-1], count=4000)
    counted = np.array([np.cos(q / whole * landed).mean() for q in Q])
    noise = 3 / np.sqrt(2 * len(landed))
    found = transfer_of([sheet(*slab) for slab in slabs], lobe_of(slabs))(Q / whole)
    assert np.abs(found - counted).max() < bound + noise


def test_bessel_function_against_scipy():
    x = np.linspace(0, 80, 4001)
    np.testing.assert_allclose(bessel_j0(x), j0(x), atol=2e-4)


# ---- closed forms ----------------------------------------------------------------


def test_lambertian_light_across_a_gap():
    """E falls as d^4 / (d^2 + r^2)^2, whose Hankel transform is q d K_1(q d)."""
    q = np.array([0.02, 0.1, 0.3, 1.0, 3.0])
    found = lobe_transfer(q, between=[sheet(1.0, 2.0, 0.0, 0.0)], lobe=np.ones(6))
    np.testing.assert_allclose(found, 2 * q * k1(2 * q), atol=1.5e-3)


def test_a_denser_sheet_spreads_light_less():
    """Under Snell's law tan(asin(s / n)) < tan(asin(s)), with air beside the sheet."""
    q, lobe = np.array([0.2]), np.ones(6)
    air = sheet(1.0, 1e-9, 0.0, 0.0)
    across = [
        lobe_transfer(q, between=[air, sheet(n, 9.0, 0.0, 0.0)], lobe=lobe)[0]
        for n in (1.0, 1.5)
    ]
    assert across[0] < across[1] - 0.1


def test_a_thick_scatterer_is_a_diffusing_slab():
    """Far from both ends H is q d / sinh(q d)."""
    found = scatterer_transfer(Q, transport=3000.0, index=1.5)
    np.testing.assert_allclose(found, Q / np.sinh(Q), rtol=5e-3)


def test_limits_of_a_scatterer():
    for transport in (1e-9, 0.1, 1.0, 30.0):
        found = scatterer_transfer(
            np.linspace(0, 50, 200), transport=transport, index=1.49
        )
        assert found[0] == pytest.approx(1, abs=1e-5)
        assert (np.diff(found) <= 1e-12).all()
        assert (found >= 0).all()


# ---- identities ------------------------------------------------------------------


def test_blur_loses_no_light_and_leaves_an_even_face_even():
    rng = np.random.default_rng(4)
    corners = shapes.circle(30)
    x, y = shapes.cells((30, 40), 1.0)
    inside = shapes.covered(corners, x=x, y=y, cell=1.0)
    fields = np.stack([rng.random(inside.shape), np.ones_like(inside)], axis=-1)

    def transfer(q):
        return np.exp(-((3 * q) ** 2) / 2)

    found = blurred(fields, inside=inside, cell=1.0, transfer=transfer)
    total = (inside[..., None] * found).sum(axis=(0, 1))
    expected = (inside[..., None] * fields).sum(axis=(0, 1))
    np.testing.assert_allclose(total, expected, rtol=1e-5)
    np.testing.assert_allclose(found[inside > 0, 1], 1.0, rtol=1e-4)
    assert found[inside > 0.5, 0].std() < 0.2 * fields[inside > 0.5, 0].std()


def test_a_spot_blurs_to_its_kernel():
    """A Gaussian of sd 2 mm in the middle of a wide face: sd per axis and symmetry."""
    x, _ = shapes.cells((41, 41), 1.0)
    spot = np.zeros((41, 41, 1))
    spot[20, 20] = 1
    found = blurred(
        spot, inside=np.ones((41, 41)), cell=1.0,
        transfer=lambda q: np.exp(-((2 * q) ** 2) / 2),
    )[..., 0]  # fmt: skip
    assert (found * x**2).sum() / found.sum() == pytest.approx(4, rel=0.02)
    np.testing.assert_allclose(found, found.T, atol=1e-9)
    np.testing.assert_allclose(found, found[::-1], atol=1e-9)


# ---- thicknesses of slabs ----------------------------------------------------------


def test_every_slab_has_its_thickness(inset_of):
    inset = inset_of("""
        [[light]]
        emitter = "red"
        [[layer]]
        kind = "diffuser"
        diffuser = "opal sheet"
        [[layer]]
        kind = "gap"
        thickness = "2 mm"
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        thickness = "9 mm"
        back = "frosted"
        finish = "frosted"
    """)
    sheets = sheets_of(inset, piece_of(inset))
    assert [s.thickness for s in sheets] == [3, 2, 0, 9, 0]
    assert [s.scattered > 0 for s in sheets] == [True, False, True, False, True]
    assert apparent_depth(sheets) == 0  # the scatterer comes first


def test_a_clear_body_before_the_scatterer_brings_the_leds_nearer(inset_of):
    """Apparent depth: 9 mm of index n look like 9 / n."""
    inset = inset_of("""
        [[light]]
        emitter = "red"
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        thickness = "9 mm"
        finish = "frosted"
    """)
    piece = piece_of(inset)
    index = np.mean(np.broadcast_to(piece.slabs[0].index, 401))
    assert apparent_depth(sheets_of(inset, piece)) == pytest.approx(9 / index)
