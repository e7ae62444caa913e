"""Reading photos of chips that these tests render: what was put in must come out."""

import io
import subprocess
import sys
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps
from scene import (
    dng,
    encode,
    exif,
    expose,
    fall,
    mosaic,
    png16,
    save,
    save_codes,
    scene,
    stored,
    tiff16,
)

from tintlab.chips.photo import read_photo
from tintlab.chips.photo_marks import Mark, Marks, parse_mark, parse_marks, read_marks
from tintlab.chips.photo_open import crops, open_photo
from tintlab.chips.photo_tone import SRGB, parametric, profile_curve, srgb_curve
from tintlab.colorimetry import tables
from tintlab.errors import InsetError

BLANK = np.array([0.70, 0.60, 0.50])
CHIP = np.array([0.20, 0.60, 0.80])
STRAY = np.array([0.02, 0.03, 0.04])
PALE = np.array([0.55, 0.85, 0.93])
WHERE = {"blank": (300, 100), "chip": (300, 200), "pale": (300, 300)}


def patches(**more):
    return {
        WHERE["blank"]: BLANK,
        WHERE["chip"]: BLANK * CHIP,
        WHERE["pale"]: BLANK * PALE,
    } | more


def marks(**more):
    return parse_marks(
        blanks=more.pop("blanks", ("300,100,18",)),
        chips=more.pop("chips", ("chip=300,200,18", "pale=300,300,18")),
        **more,
    )


def shot(path, *, light=None, data=..., quality=92, **how):
    light = scene(patches()) if light is None else light
    data = exif(seconds="1/50") if data is ... else data
    return save(path, expose(light, **how), data=data, quality=quality)


# ------------------------------------------------------------------ decoding


def test_srgb_is_the_published_curve():
    # IEC 61966-2-1: 0.04045 / 12.92, and the decoded code 0.5
    assert parametric(0.04045, SRGB) == pytest.approx(0.04045 / 12.92, abs=1e-6)
    assert parametric(0.5, SRGB) == pytest.approx(0.214041, abs=1e-6)
    np.testing.assert_allclose(parametric(np.arange(256) / 255, SRGB), tables().decoded)
    codes = np.arange(65536)
    back = encode(srgb_curve(65535)[0]) * 65535
    assert np.abs(back - codes).max() < 0.6  # the two branches meet at 4e-8


def test_the_curve_of_a_profile_is_read():
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    curve = profile_curve(srgb, 255)
    np.testing.assert_allclose(curve, srgb_curve(255), atol=2e-4)


def icc(tag):
    """A profile of three equal curves and nothing else."""
    head = bytes(128) + (3).to_bytes(4, "big")
    start = 128 + 4 + 36
    for name in (b"rTRC", b"gTRC", b"bTRC"):
        head += name + start.to_bytes(4, "big") + len(tag).to_bytes(4, "big")
    return head + tag


def test_gamma_table_and_linear_profiles():
    x = np.arange(256) / 255
    gamma = icc(b"curv\0\0\0\0" + (1).to_bytes(4, "big") + (0x0233).to_bytes(2, "big"))
    # the gamma of a wide RGB space in common use, 563/256 = 2.19921875
    np.testing.assert_allclose(profile_curve(gamma, 255)[1], x**2.19921875)
    linear = icc(b"curv\0\0\0\0" + bytes(4))
    np.testing.assert_allclose(profile_curve(linear, 255)[0], x)
    table = np.round(x**2 * 65535).astype(">u2").tobytes()
    listed = icc(b"curv\0\0\0\0" + (256).to_bytes(4, "big") + table)
    np.testing.assert_allclose(profile_curve(listed, 255)[2], x**2, atol=1e-5)
    assert profile_curve(b"nonsense", 255) is None
    assert profile_curve(icc(b"mft2" + bytes(20)), 255) is None


def test_a_linear_profile_changes_the_ratio(tmp_path):
    light = expose(scene(patches()), noise=0.002)
    codes = np.round(light * 255).astype(np.uint8)
    path = save_codes(tmp_path / "a.png", codes, icc=icc(b"curv\0\0\0\0" + bytes(4)))
    found = read_photo(path, marks=marks())
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.02)
    plain = read_photo(save_codes(tmp_path / "b.png", codes), marks=marks())
    assert plain.readings[0].ratio[0] < 0.1  # read as sRGB it would be far off


@pytest.mark.parametrize("ending", ["png", "tif"])
@pytest.mark.parametrize("orientation", range(2, 9))
def test_orientation_brings_the_patch_back(tmp_path, orientation, ending):
    codes = np.random.default_rng(0).integers(0, 256, (40, 60, 3), dtype=np.uint8)
    path = save_codes(
        tmp_path / f"a.{ending}", codes, data=exif(orientation=orientation),
        orientation=orientation,
    )  # fmt: skip
    with Image.open(path) as picture:  # the renderer is held to Pillow
        np.testing.assert_array_equal(ImageOps.exif_transpose(picture), codes)
    photo = open_photo(path)
    assert photo.size == (60, 40)
    (found,) = crops(photo, [(7, 5, 30, 21)])
    np.testing.assert_array_equal(found, codes[5:21, 7:30])


@pytest.mark.parametrize("kind", ["png", "tiff <", "tiff >", "tiff < packed"])
def test_sixteen_bits_are_exact(tmp_path, kind):
    codes = np.random.default_rng(0).integers(0, 65536, (30, 50, 3))
    if kind == "png":
        path = png16(tmp_path / "a.png", codes)
    else:
        path = tiff16(tmp_path / "a.tif", codes, order=kind[5], packed="packed" in kind)
    photo = open_photo(path)
    assert photo.bits == 16
    (found,) = crops(photo, [(3, 2, 40, 28)])
    np.testing.assert_array_equal(found, codes[2:28, 3:40])


def test_sixteen_bits_read_deeper_than_eight(tmp_path):
    deep = scene({WHERE["blank"]: BLANK, WHERE["chip"]: BLANK * 0.004})
    codes = np.round(encode(expose(deep, noise=1e-3)) * 65535).astype(int)
    path = png16(tmp_path / "a.png", codes)
    one = marks(chips=("chip=300,200,18",))
    found = read_photo(path, marks=one).readings[0]
    np.testing.assert_allclose(found.ratio, 0.004, rtol=0.03)
    with pytest.raises(InsetError, match=r"patch of chip is too dark in red"):
        read_photo(shot(tmp_path / "a.jpg", light=deep, noise=1e-3), marks=one)


# ------------------------------------------------------------------ ratios


@pytest.mark.parametrize(("name", "noise"), [("a.png", 0.01), ("a.jpg", 0.03)])
def test_ratios_come_out_within_their_errors(tmp_path, name, noise):
    found = read_photo(shot(tmp_path / name, noise=noise), marks=marks())
    assert [r.name for r in found.readings] == ["chip", "pale"]
    for reading, truth in zip(found.readings, (CHIP, PALE), strict=True):
        assert reading.usable.all()
        np.testing.assert_allclose(reading.ratio, truth, rtol=0.02)
        assert (np.abs(reading.ratio - truth) < 3 * reading.sigma).all()
    assert found.evidence == "unchecked"
    assert "weaker evidence" in " ".join(found.notes)


def test_the_noise_error_is_honest(tmp_path):
    """Over 60 noisy JPEGs, raw-like tone: scatter and stated error agree."""
    pulls = []
    for seed in range(20):
        path = shot(tmp_path / "a.jpg", noise=0.05, seed=seed)
        photo = read_photo(path, marks=marks())
        for reading, truth in zip(photo.readings, (CHIP, PALE), strict=True):
            tone = np.log(reading.ratio) * photo.tone.gamma_sigma * reading.ratio
            own = np.sqrt(reading.sigma**2 - tone**2)
            pulls.append((reading.ratio - truth) / own)
    assert 0.3 < np.std(pulls) < 1.2
    assert abs(np.mean(pulls)) < 0.5


def test_white_balance_and_exposure_cancel(tmp_path):
    gains = np.array([0.9, 1.0, 1.2]) * 0.8
    a = read_photo(shot(tmp_path / "a.png"), marks=marks())
    light = scene(patches()) * gains
    b = read_photo(shot(tmp_path / "b.png", light=light), marks=marks())
    np.testing.assert_allclose(a.readings[0].ratio, b.readings[0].ratio, rtol=0.02)


def test_dust_does_not_matter(tmp_path):
    light = scene(patches())
    light[195:199, 295:299] = 0.9
    found = read_photo(shot(tmp_path / "a.png", light=light), marks=marks())
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.02)


def test_blank_on_both_sides_removes_a_slope(tmp_path):
    ramp = np.linspace(0.6, 1.0, 600)[None, :, None]
    two = {(100, 200): BLANK, (250, 200): BLANK * CHIP, (500, 200): BLANK}
    light = scene(two) * ramp
    path = shot(tmp_path / "a.png", light=light)
    both = marks(blanks=("100,200,18", "500,200,18"), chips=("chip=250,200,18",))
    found = read_photo(path, marks=both).readings[0].ratio
    np.testing.assert_allclose(found, CHIP, rtol=0.02)
    one = marks(blanks=("500,200,18",), chips=("chip=250,200,18",))
    assert read_photo(path, marks=one).readings[0].ratio[1] < 0.54


def test_flat_frame_removes_vignetting(tmp_path):
    shade = fall((600, 400), 0.5)
    spots = {(300, 200): BLANK, (60, 60): BLANK * CHIP}
    path = shot(tmp_path / "a.png", light=scene(spots) * shade)
    plain = np.broadcast_to(BLANK * 0.9, (400, 600, 3)) * shade
    flat = shot(tmp_path / "flat.png", light=plain)
    two = marks(blanks=("300,200,18",), chips=("chip=60,60,18",))
    with_flat = read_photo(path, marks=two, flat=flat).readings[0]
    np.testing.assert_allclose(with_flat.ratio, CHIP, rtol=0.02)
    without = read_photo(path, marks=two).readings[0]
    assert (np.abs(without.ratio - CHIP) > 0.2 * CHIP).all()
    # the unknown fall-off is in the stated error: a third off is two deviations
    assert (np.abs(without.ratio - CHIP) < 3 * without.sigma).all()
    shares = [one.sigma / one.ratio for one in (with_flat, without)]
    assert (shares[0] < shares[1]).all()


def test_stray_light_is_read_from_an_opaque_patch(tmp_path):
    light = scene(patches() | {(450, 200): np.zeros(3)}) + STRAY
    path = shot(tmp_path / "a.png", light=light, noise=0.004)
    found = read_photo(path, marks=marks(dark="450,200,18"))
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.02)
    expected = STRAY / (BLANK + STRAY)
    np.testing.assert_allclose(found.stray, expected, rtol=0.1)
    plain = read_photo(path, marks=marks()).readings[0].ratio
    assert plain[0] > CHIP[0] * 1.08


def test_stray_light_that_differs_from_place_to_place_is_in_the_error(tmp_path):
    """30 % more veil at the chips than at the opaque patch."""
    light = scene(patches() | {(450, 200): np.zeros(3)}) + STRAY
    light[:, :400] += 0.3 * STRAY
    path = shot(tmp_path / "a.png", light=light, noise=0.004)
    chip = read_photo(path, marks=marks(dark="450,200,18")).readings[0]
    off = np.abs(chip.ratio - CHIP)
    assert (off < 2 * chip.sigma).all()
    assert (chip.sigma > 0.1 * STRAY / BLANK).all()


# ------------------------------------------------------------------ tone curve


def pair(tmp_path, *, tone=1.0, pedestal=0.0, told="1/200", true=0.25, light=None):
    how = {"tone": tone, "pedestal": pedestal, "noise": 0.006, "light": light}
    return (
        shot(tmp_path / "a.png", data=exif(seconds="1/50"), **how),
        shot(tmp_path / "b.png", data=exif(seconds=told), gain=true, seed=2, **how),
    )


@pytest.mark.parametrize("tone", [0.8, 1.0, 1.25])
def test_two_exposures_tell_the_tone_curve(tmp_path, tone):
    first, second = pair(tmp_path, tone=tone)
    found = read_photo(first, marks=marks(), second=second)
    assert found.evidence == "checked"
    assert found.tone.gamma == pytest.approx(tone, abs=0.03)
    assert abs(found.tone.gamma - tone) < 3 * found.tone.gamma_sigma
    assert found.exposure == pytest.approx(0.25, rel=0.05)
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.04)
    if tone != 1.0:  # one photo alone is wrong, and its error says so
        alone = read_photo(first, marks=marks()).readings[0]
        assert abs(alone.ratio[0] / CHIP[0] - 1) > 0.2
        assert abs(alone.ratio[0] - CHIP[0]) < 3 * alone.sigma[0]


def test_two_exposures_tell_the_offset(tmp_path):
    first, second = pair(tmp_path, pedestal=0.01)
    found = read_photo(first, marks=marks(), second=second, ratio=0.25)
    assert found.tone.offset == pytest.approx(0.01, abs=0.004)


def test_a_second_exposure_reaches_deeper(tmp_path):
    """Blue is clipped in the long photo, the chip's red too dark in the short one."""
    light = scene({WHERE["blank"]: [0.5, 0.6, 2.0], WHERE["chip"]: [0.015, 0.4, 1.8],
                   WHERE["pale"]: [0.3, 0.5, 1.9]})  # fmt: skip
    long = shot(tmp_path / "a.png", light=light, noise=0.004)
    short = shot(
        tmp_path / "b.png", light=light, gain=0.2, seed=2, noise=0.004,
        data=exif(seconds="1/250"),
    )  # fmt: skip
    truth = np.array([0.03, 2 / 3, 0.9])
    assert read_photo(long, marks=marks()).readings[0].usable.tolist() == [1, 1, 0]
    assert read_photo(short, marks=marks()).readings[0].usable.tolist() == [0, 1, 1]
    found = read_photo(long, marks=marks(), second=short).readings[0]
    assert found.usable.all()
    np.testing.assert_allclose(found.ratio, truth, rtol=0.04)


def test_a_patch_of_known_ratio_checks_one_photo(tmp_path):
    light = scene(patches() | {(450, 200): BLANK * 0.25})
    path = shot(tmp_path / "a.png", light=light, tone=1.2, noise=0.006)
    found = read_photo(path, marks=marks(known=("0.25=450,200,18",)))
    assert found.evidence == "checked"
    assert found.tone.gamma == pytest.approx(1.2, abs=0.02)
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.02)


def test_automatic_exposure_between_two_photos_is_refused(tmp_path):
    first, second = pair(tmp_path, true=0.9)  # the camera brightened the second
    with pytest.raises(
        InsetError, match=r"ratio 0.25 but read 0\.9.*lock the exposure"
    ):
        read_photo(first, marks=marks(), second=second)


def test_automatic_white_balance_between_two_photos_is_refused(tmp_path):
    first, _ = pair(tmp_path)
    light = scene(patches()) * [0.25, 0.25, 0.33]
    second = shot(tmp_path / "c.png", light=light, data=exif(seconds="1/200"))
    with pytest.raises(InsetError, match=r"in blue against the other.*white balance"):
        read_photo(first, marks=marks(), second=second)


def test_local_tone_mapping_is_refused(tmp_path):
    first, _ = pair(tmp_path)
    lifted = scene({WHERE["blank"]: BLANK, WHERE["chip"]: BLANK * CHIP * 1.5,
                    WHERE["pale"]: BLANK * PALE * 0.7})  # fmt: skip
    second = shot(tmp_path / "c.png", light=lifted * 0.25, data=exif(seconds="1/200"))
    with pytest.raises(InsetError, match=r"fit no tone curve|stand in the ratio"):
        read_photo(first, marks=marks(), second=second)


def test_a_typed_ratio_that_the_camera_contradicts(tmp_path):
    first, second = pair(tmp_path)
    with pytest.raises(InsetError, match=r"ratio of 0\.5 .* EXIF data say 0\.25"):
        read_photo(first, marks=marks(), second=second, ratio=0.5)


def test_the_same_exposure_with_the_light_moved_away(tmp_path):
    """One LED at one and two distances is 1 to 0.25, at the same exposure."""
    first, second = pair(tmp_path, told="1/50", tone=1.15)
    found = read_photo(first, marks=marks(), second=second, ratio=0.25)
    assert found.tone.gamma == pytest.approx(1.15, abs=0.02)


def test_automatic_modes_are_noted_for_two_photos(tmp_path):
    data = exif(seconds="1/200")
    data.get_ifd(0x8769).update({0xA402: 0, 0xA403: 0})
    first, _ = pair(tmp_path)
    second = shot(tmp_path / "c.png", gain=0.25, data=data)
    notes = " ".join(read_photo(first, marks=marks(), second=second).notes)
    assert "the exposure of the second photo was automatic" in notes
    assert "the white balance of the second photo was automatic" in notes


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"data": None}, "do not say how they were exposed"),
        ({"data": exif(seconds="1/50")}, "too near to tell"),
        ({"light": scene(patches(), size=(700, 400))}, "sizes or kinds differ"),
    ],
)
def test_a_second_photo_that_is_none(tmp_path, more, says):
    first = shot(tmp_path / "a.png")
    second = shot(tmp_path / "b.png", **({"data": exif(seconds="1/200")} | more))
    with pytest.raises(InsetError, match=says):
        read_photo(first, marks=marks(), second=second)


# ------------------------------------------------------------------ bad patches


def test_a_patch_outside(tmp_path):
    with pytest.raises(InsetError, match="chip about 595, 200 reaches outside"):
        read_photo(shot(tmp_path / "a.png"), marks=marks(chips=("chip=595,200,18",)))


def test_a_tiny_patch(tmp_path):
    with pytest.raises(InsetError, match="patch of chip has 16 pixels"):
        read_photo(shot(tmp_path / "a.png"), marks=marks(chips=("chip=300,200,2",)))


def test_an_uneven_patch_names_channel(tmp_path):
    across = marks(chips=("chip=325,200,24",))  # half beside the chip
    with pytest.raises(InsetError, match=r"patch of chip is uneven in red.*mark a"):
        read_photo(shot(tmp_path / "a.png"), marks=across)


def test_a_clipped_blank_channel_is_not_used_and_said(tmp_path):
    light = scene(patches()) * [1, 1, 2.2]
    found = read_photo(shot(tmp_path / "a.jpg", light=light), marks=marks())
    assert found.readings[0].usable.tolist() == [True, True, False]
    assert "blue is not used: clipped" in found.readings[0].notes[0]
    assert np.isinf(found.readings[0].sigma[2])


def test_everything_clipped(tmp_path):
    path = shot(tmp_path / "a.jpg", light=scene(patches()) * 3)
    with pytest.raises(InsetError, match="blank can be read in no channel"):
        read_photo(path, marks=marks())


def test_a_black_photo(tmp_path):
    path = shot(tmp_path / "a.jpg", light=np.zeros((400, 600, 3)))
    with pytest.raises(InsetError, match="blank can be read in no channel"):
        read_photo(path, marks=marks())


def test_blank_and_chip_swapped(tmp_path):
    swapped = marks(blanks=("300,200,18",), chips=("chip=300,100,18",))
    with pytest.raises(InsetError, match="are blank and chip swapped"):
        read_photo(shot(tmp_path / "a.png"), marks=swapped)


def test_blanks_that_differ(tmp_path):
    two = marks(blanks=("300,100,18", "300,200,18"), chips=("pale=300,300,18",))
    with pytest.raises(InsetError, match="blanks differ by 80% in red"):
        read_photo(shot(tmp_path / "a.png"), marks=two)


def test_a_glowing_chip_is_said(tmp_path):
    light = scene({WHERE["blank"]: BLANK, WHERE["chip"]: BLANK * [1.25, 0.4, 0.3]})
    first = shot(tmp_path / "a.png", light=light)
    found = read_photo(first, marks=marks(chips=("chip=300,200,18",))).readings[0]
    assert "red is brighter than the blank: it glows by itself" in found.notes[0]


# ------------------------------------------------------------------ bad files


def test_an_empty_file(tmp_path):
    path = tmp_path / "a.jpg"
    path.touch()
    with pytest.raises(InsetError, match="has 0 bytes"):
        read_photo(path, marks=marks())


@pytest.mark.parametrize("share", [0.02, 0.3, 0.8])
def test_a_truncated_file(tmp_path, share):
    whole = shot(tmp_path / "whole.jpg").read_bytes()
    path = tmp_path / "a.jpg"
    path.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(InsetError, match=r'"a\.jpg"'):
        read_photo(path, marks=marks())


def test_a_decompression_bomb(tmp_path):
    path = tmp_path / "bomb.png"
    body = io.BytesIO()
    Image.new("RGB", (8, 8)).save(body, "PNG")
    data = bytearray(body.getvalue())
    data[16:24] = (60_000).to_bytes(4, "big") * 2
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    path.write_bytes(data)
    with pytest.raises(InsetError, match="more than 80 million pixels"):
        read_photo(path, marks=marks())


def test_text_folders_and_absence(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_text("no picture", encoding="utf-8")
    with pytest.raises(InsetError, match="is no picture that we can read"):
        read_photo(path, marks=marks())
    with pytest.raises(InsetError, match="which is a folder"):
        read_photo(tmp_path, marks=marks())
    with pytest.raises(InsetError, match="cannot read the photo"):
        read_photo(tmp_path / "none.jpg", marks=marks())
    (tmp_path / "a.heic").write_bytes(b"x")
    with pytest.raises(InsetError, match="set the camera to save JPEG"):
        read_photo(tmp_path / "a.heic", marks=marks())


def test_black_and_white(tmp_path):
    path = tmp_path / "a.png"
    Image.new("L", (600, 400), 90).save(path)
    with pytest.raises(InsetError, match="is black and white"):
        read_photo(path, marks=marks())


def test_hdr_is_refused(tmp_path):
    path = shot(tmp_path / "a.jpg", data=exif(seconds="1/50", rendered=3))
    with pytest.raises(InsetError, match="HDR"):
        read_photo(path, marks=marks())


def test_no_exif_is_noted(tmp_path):
    found = read_photo(shot(tmp_path / "a.jpg", data=None), marks=marks())
    assert "no EXIF data" in found.notes[0]


def test_raw_without_its_reader(tmp_path, monkeypatch):
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)
    (tmp_path / "a.dng").write_bytes(b"x")
    with pytest.raises(InsetError, match='install it with "pip install rawpy"'):
        read_photo(tmp_path / "a.dng", marks=marks())


@pytest.mark.parametrize("orientation", [1, 6])
def test_camera_raw(tmp_path, orientation):
    pytest.importorskip("rawpy")
    values = expose(scene(patches()), noise=0.004)
    if orientation == 6:
        values = stored(values, 6)
    path = dng(tmp_path / "a.dng", mosaic(values), orientation=orientation)
    found = read_photo(path, marks=marks())
    assert found.evidence == "raw"
    np.testing.assert_allclose(found.readings[0].ratio, CHIP, rtol=0.01)
    assert (found.readings[0].sigma < 0.02 * CHIP).all()


def test_a_damaged_raw_file(tmp_path):
    pytest.importorskip("rawpy")
    (tmp_path / "a.dng").write_bytes(b"II*\0nonsense")
    with pytest.raises(InsetError, match=r'cannot decode the raw file "a\.dng"'):
        read_photo(tmp_path / "a.dng", marks=marks())


def test_fifty_megapixels_in_bounded_memory(tmp_path):
    path = tmp_path / "a.jpg"
    Image.new("RGB", (8660, 5774), (180, 150, 120)).save(path)
    code = (
        "import sys, resource; from pathlib import Path\n"
        "from tintlab.chips.photo import read_photo\n"
        "from tintlab.chips.photo_marks import parse_marks\n"
        "base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "m = parse_marks(blanks=('3000,3000',), chips=('a=4000,3000',))\n"
        f"r = read_photo(Path({str(path)!r}), marks=m).readings[0].ratio\n"
        "assert abs(r - 1).max() < 1e-6\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - base)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    unit = 1024 if sys.platform == "linux" else 1
    assert int(done.stdout) * unit < 6 * 8660 * 5774  # Pillow needs 4 bytes a pixel


# ------------------------------------------------------------------ marks


def test_marks_from_words_and_from_a_file_agree(tmp_path):
    path = tmp_path / "marks.toml"
    path.write_text(
        "[[blank]]\nat = [100, 200]\nradius = 30\n[[blank]]\nat = [500, 200]\n"
        '[[chip]]\nname = "2 drops"\nbox = [270, 170, 60, 60]\n'
        "[[known]]\nratio = 0.25\nat = [400, 200]\n[dark]\nat = [600, 200]\n",
        encoding="utf-8",
    )
    typed = parse_marks(
        blanks=("100,200,30", "500,200"),
        chips=("2 drops=270,170,60,60",),
        known=("0.25=400,200",),
        dark="600,200",
    )
    assert read_marks(path) == typed
    path.write_text("[blank]\nat = [1, 2]\n[[chip]]\nat = [3, 4]\n", encoding="utf-8")
    assert read_marks(path) == Marks(
        blanks=(Mark(name="blank", at=(1, 2)),), chips=(Mark(name="chip 1", at=(3, 4)),)
    )


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[[chip]]\nat = [1, 2]\n", r"no \[blank\]"),
        ("[blank]\nat = [1, 2]\n", r"no \[\[chip\]\]"),
        ("[blank]\nat = [1]\n[[chip]]\nat = [1, 2]\n", "takes 2 finite numbers"),
        ("[blank]\nat = [1, 2]\nradus = 3\n[[chip]]\nat = [1, 2]\n", '"radius"'),
        ("[blank]\nat = [1, 2]\n[[chip]]\nat = [1, 2]\n", "at the same spot"),
        ("[blank]\nat=[1,2]\nbox=[1,2,3,4]\n[[chip]]\nat=[1,2]\n", "both at and box"),
    ],
)
def test_mistakes_in_a_marks_file(tmp_path, text, says):
    path = tmp_path / "marks.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InsetError, match=says):
        read_marks(path)


@pytest.mark.parametrize("text", ["", "1", "a,b", "1,2,3,4,5", "1,2,0", "1,nan"])
def test_a_mark_that_is_none(text):
    with pytest.raises(InsetError, match="patch"):
        parse_mark(text, name="blank")


def test_marks_that_cannot_be_meant():
    with pytest.raises(InsetError, match="no blank is marked"):
        parse_marks(blanks=(), chips=("a=1,2",))
    with pytest.raises(InsetError, match="no chip is marked"):
        parse_marks(blanks=("1,2",), chips=())
    with pytest.raises(InsetError, match='two chips are called "a"'):
        parse_marks(blanks=("1,2",), chips=("a=3,4", "a=5,6"))
    with pytest.raises(InsetError, match="known ratio"):
        parse_marks(blanks=("1,2",), chips=("a=3,4",), known=("2=5,6",))


def test_stored_is_the_inverse_of_upright():
    codes = np.arange(24).reshape(2, 4, 3)
    assert stored(codes, 3)[0, 0].tolist() == codes[-1, -1].tolist()
