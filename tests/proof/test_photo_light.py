"""Light in a photo: perspective, spill, bloom, coarse fields."""

import numpy as np
import pytest

from tintlab.proof import glare, photo_light
from tintlab.proof.face import FaceMap
from tintlab.proof.photo_place import homography, places

SIZE = (300, 200)


def face(values, inside=None, spacing=1.0):
    rows, columns = values.shape[:2]
    return FaceMap(
        spacing=spacing,
        x=(np.arange(columns) - (columns - 1) / 2) * spacing,
        y=(np.arange(rows) - (rows - 1) / 2) * spacing,
        inside=np.ones((rows, columns)) if inside is None else inside,
        values=values,
    )


# ---------------------------------------------------------------------- perspective


def test_an_even_glow_stays_even():
    place = places("60,30 240,50 220,170 70,160", size=SIZE)[0]
    patch = photo_light.laid(place, face(np.full((6, 9, 2), 3.0)), (9.0, 6.0))
    assert patch.glow[:, patch.coverage > 0] == pytest.approx(3.0, rel=1e-5)


def test_a_spot_lands_where_the_perspective_puts_it():
    values = np.zeros((60, 90, 1))
    values[13:16, 69:72] = 1.0  # 3 x 3 cells about x = 25.5, y = -15.5 mm
    place = places("60,30 240,50 220,170 70,160", size=SIZE)[0]
    patch = photo_light.laid(place, face(values), (90.0, 60.0))
    rows, columns = np.indices(patch.coverage.shape)
    weight = patch.glow[0]
    found = [
        place.left + ((columns + 0.5) * weight).sum() / weight.sum(),
        place.top + ((rows + 0.5) * weight).sum() / weight.sum(),
    ]
    H = homography([(-45, -30), (45, -30), (45, 30), (-45, 30)], place.corners)
    u, v, w = H @ (25.5, -15.5, 1)
    assert found == pytest.approx([u / w, v / w], abs=0.25)


def test_the_first_corner_is_the_upper_left():
    values = np.zeros((6, 9, 1))
    values[0, 0] = 1.0
    place = places("240,50 220,170 70,160 60,30", size=SIZE)[0]  # turned by a quarter
    patch = photo_light.laid(place, face(values), (9.0, 6.0))
    row, column = np.unravel_index(
        (patch.glow[0] * patch.coverage).argmax(), patch.coverage.shape
    )
    assert column + place.left > 200
    assert row + place.top < 80


def test_a_round_outline_is_round_within_its_corners():
    x = np.arange(40) - 19.5
    inside = (np.hypot(x, x[:, None]) < 20).astype(float)
    place = places("50,50 150,50 150,150 50,150", size=SIZE)[0]
    patch = photo_light.laid(
        place, face(np.ones((40, 40, 1)), inside=inside), (40.0, 40.0)
    )
    assert patch.coverage.sum() == pytest.approx(np.pi * 50**2, rel=0.02)
    assert patch.coverage[2, 2] == 0
    assert patch.scale == pytest.approx(2.5)


# ----------------------------------------------------------------------------- spill


def test_spill_kernel_is_the_closed_form():
    grid = photo_light.Grid(height=400, width=400, step=1)
    kernel = photo_light.spill_kernel(grid, 12.0)
    middle = kernel.shape[0] // 2
    # E of an element dA = 1 on a parallel plane: L h^2 / (h^2 + d^2)^2, over pi L
    assert kernel[middle, middle] == pytest.approx(1 / (np.pi * 12**2), rel=1e-3)
    ratio = kernel[middle, middle + 12] / kernel[middle, middle]
    assert ratio == pytest.approx(0.25)
    assert 0.98 < kernel.sum() <= 1.0


def test_no_more_is_spilt_than_the_share():
    grid = photo_light.grid_over(*SIZE[::-1])
    place = places("100,60 200,60 200,140 100,140", size=SIZE)[0]
    patch = photo_light.laid(place, face(np.ones((8, 10, 3))), (10.0, 8.0))
    light = photo_light.coarse(patch.glow, patch, grid)
    spilt = photo_light.spill([light], [patch], grid)
    assert spilt[1].sum() / light[1].sum() > 0.5 * photo_light.SPILT
    assert spilt[1].sum() <= photo_light.SPILT * light[1].sum() * (1 + 1e-5)


# ----------------------------------------------------------------------------- bloom


def test_the_lens_scatters_no_more_than_its_share():
    grid = photo_light.grid_over(900, 1200)
    kernel = photo_light.flare_kernel(grid)
    assert 0.5 * photo_light.FLARE < kernel.sum() <= photo_light.FLARE


def test_the_eye_scatters_as_its_equation_says():
    grid = photo_light.Grid(height=81, width=101, step=4)
    kernel = photo_light.eye_kernel(grid, 0.05)
    rows, columns = grid.shape
    assert kernel.shape == (2 * rows - 1, 2 * columns - 1)
    angle = 10 * 4 * 0.05  # ten samples to the right: 2 degrees
    cell = np.radians(4 * 0.05) ** 2
    share = kernel[rows - 1, columns - 1 + 10] / cell
    assert share == pytest.approx(glare.general(angle), rel=5e-3)
    assert kernel[::-1, ::-1] == pytest.approx(kernel)


def test_convolution_by_hand():
    light = np.zeros((1, 3, 4))
    light[0, 1, 2] = 2.0
    kernel = np.arange(35.0).reshape(5, 7)
    found = photo_light.spread_out(light, kernel)
    # what lies (dy, dx) from the spot gets kernel[2 + dy, 3 + dx]
    assert found[0, 0, 0] == pytest.approx(2 * kernel[1, 1])
    assert found[0, 2, 3] == pytest.approx(2 * kernel[3, 4])


# ------------------------------------------------------------------- coarse and fine


@pytest.mark.parametrize("step", [1, 2, 3, 8, 9])
def test_a_slope_comes_back_as_a_slope(step):
    grid = photo_light.Grid(height=90, width=130, step=step)
    rows, columns = grid.shape
    y, x = (np.arange(n) * step + step / 2 for n in (rows, columns))
    field = (2 * y[:, None] + 3 * x).astype(np.float32)
    fine = photo_light.finer(photo_light.stretched(field, grid), grid, 20, 60)
    want = 2 * (np.arange(20, 60) + 0.5)[:, None] + 3 * (np.arange(130) + 0.5)
    inner = np.s_[:, step : 130 - step]
    assert fine.shape == (40, 130)
    part = photo_light.stretched(field, grid, slice(1, 6))
    part = photo_light.finer(part, grid, 20, 60)
    assert part == pytest.approx(fine[:, step : 6 * step])
    assert fine[inner] == pytest.approx(want[inner], rel=1e-5)


def test_coarse_means_keep_the_light():
    grid = photo_light.Grid(height=200, width=300, step=7)
    place = places("61,33 241,52 223,171 72,160", size=SIZE)[0]
    patch = photo_light.laid(place, face(np.ones((8, 10, 2))), (10.0, 8.0))
    light = photo_light.coarse(patch.glow, patch, grid)
    assert light[0].sum() * 49 == pytest.approx(
        (patch.glow[0] * patch.coverage).sum(), rel=1e-5
    )
