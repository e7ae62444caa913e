"""Photos in and out: codes, colour spaces, kinds, metadata, bad input."""

import io
import struct
import sys
import types

import numpy as np
import pytest
from PIL import Image, ImageCms, ImageOps
from published import Published, published

from tintlab.chips import photo_open, photo_raw
from tintlab.colorimetry import tables
from tintlab.errors import InsetError
from tintlab.proof import photo_write
from tintlab.proof.photo_file import read_picture
from tintlab.proof.photo_space import space_of
from tintlab.proof.photo_write import encoded, labelled, target_names, write_all

RANDOM = np.random.default_rng(5)
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def codes_of(bits=8, size=(70, 50)):
    kind = np.uint8 if bits == 8 else np.uint16
    return RANDOM.integers(0, 2**bits, (size[1], size[0], 3)).astype(kind)


@pytest.fixture
def photo(tmp_path):
    """Return a function that saves a small picture and gives its path."""

    def save(name="a.png", mode="RGB", size=(70, 50), **options):
        image = Image.fromarray(codes_of(size=size)).convert(mode)
        image.save(tmp_path / name, **options)
        return tmp_path / name

    return save


def again(picture, path, codes=None):
    """Write a picture as the proof does and read it back."""
    content = encoded(picture.codes if codes is None else codes, picture, note="test")
    path.write_bytes(content)
    return read_picture(path)


# ------------------------------------------------------------------------ sRGB codes


@published(
    Published(
        source="IEC 61966-2-1, eq. 5: code 128", given={"code": 128}, printed="0.2159"
    ),
    Published(
        source="IEC 61966-2-1, threshold 0.04045: code 10",
        given={"code": 10},
        printed="0.003035",
    ),
    Published(source="IEC 61966-2-1: code 255", given={"code": 255}, printed="1.0000"),
)
def test_codes_mean_light(check):
    light = space_of(b"", bits=8, name="x").decoded[1, check.given["code"]]
    assert light == pytest.approx(check.expected, abs=check.half_digit)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("profile", [b"", SRGB])
def test_every_code_comes_back(bits, profile):
    space = space_of(profile, bits=bits, name="x")
    codes = np.arange(2**bits, dtype=np.uint8 if bits == 8 else np.uint16)
    codes = np.stack([codes.reshape(-1, 16)] * 3, axis=-1)
    out = np.empty_like(codes)
    space.codes(space.linear(codes), out)
    assert (out == codes).all()


def test_light_beyond_the_codes_is_cut():
    space = space_of(b"", bits=8, name="x")
    out = np.empty((1, 2, 3), dtype=np.uint8)
    light = np.array([[[-0.5, 1.5]]] * 3, dtype=np.float32)
    space.codes(light, out)
    assert out[0, 0].tolist() == [0, 0, 0]
    assert out[0, 1].tolist() == [255, 255, 255]


# --------------------------------------------------------------------- ICC profiles


def with_primaries(columns):
    """Return the sRGB profile with other primaries (ICC.1:2022, XYZType)."""
    profile = bytearray(SRGB)
    (count,) = struct.unpack_from(">I", profile, 128)
    for i in range(count):
        key, start, _ = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        if key in columns:
            values = [round(v * 65536) for v in columns[key]]
            struct.pack_into(">3i", profile, start + 8, *values)
    return bytes(profile)


# SMPTE RP 431-2 primaries with a D65 white, as ICC colorants under D50; as published
# with the profiles of common phones (from memory)
WIDE = {
    b"rXYZ": (0.51512, 0.24120, -0.00105),
    b"gXYZ": (0.29198, 0.69225, 0.04189),
    b"bXYZ": (0.15710, 0.06657, 0.78407),
}


def test_the_srgb_profile_has_the_primaries_of_srgb():
    space = space_of(SRGB, bits=8, name="x")
    assert space.to_XYZ == pytest.approx(tables().rgb_to_XYZ, abs=2e-3)


def test_wide_primaries_are_read():
    space = space_of(with_primaries(WIDE), bits=8, name="x")
    red = space.to_XYZ[:, 0]
    assert red[:2] / red.sum() == pytest.approx([0.680, 0.320], abs=2e-3)
    green = space.to_XYZ[:, 1]
    assert green[:2] / green.sum() == pytest.approx([0.265, 0.690], abs=2e-3)


def test_the_profile_stays(photo, tmp_path):
    profile = with_primaries(WIDE)
    for name in ("a.jpg", "a.png", "a.tif"):
        picture = read_picture(photo(name, icc_profile=profile))
        assert again(picture, tmp_path / f"out-{name}").icc == profile


def test_a_profile_that_is_more_than_curves_is_refused(photo):
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    with pytest.raises(InsetError, match="export it as sRGB"):
        read_picture(photo(icc_profile=lab))


# ----------------------------------------------------------------- kinds and depths


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.tiff"])
def test_lossless_kinds_keep_every_code(photo, tmp_path, name):
    picture = read_picture(photo(name))
    back = again(picture, tmp_path / f"out-{name}")
    assert (back.codes == picture.codes).all()
    assert (back.kind, back.space.bits) == (picture.kind, 8)


def test_jpeg_keeps_its_quality(photo, tmp_path):
    path = photo("a.jpg", quality=71, subsampling=2, dpi=(300, 300))
    picture = read_picture(path)
    again(picture, tmp_path / "out.jpg")
    with Image.open(path) as before, Image.open(tmp_path / "out.jpg") as after:
        assert after.quantization == before.quantization
        assert after.info["dpi"] == before.info["dpi"]
        assert after.layer == before.layer


@pytest.mark.parametrize("kind", ["PNG", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_sixteen_bits_go_out_and_come_in(photo, tmp_path, kind, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    exif.get_ifd(0x8769)[0x8827] = 400
    ending = {"PNG": ".png", "TIFF": ".tif"}[kind]
    small = read_picture(photo(f"a{ending}", exif=exif.tobytes()))
    deep = codes_of(16, size=small.size)
    path = tmp_path / f"deep{ending}"
    path.write_bytes(encoded(deep, small, note="test"))
    picture = read_picture(path)
    assert picture.codes.dtype == np.uint16
    assert (picture.codes == deep).all()
    assert picture.orientation == orientation
    assert picture.shot.iso == 400
    # second reader: Pillow itself keeps the upper byte
    with Image.open(path) as image:
        upright = np.asarray(ImageOps.exif_transpose(image))
    assert (upright == deep >> 8).all()


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_stays(photo, tmp_path, name, orientation):
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = photo(name, exif=exif.tobytes())
    picture = read_picture(path)
    assert picture.size == ((70, 50) if orientation < 5 else (50, 70))
    back = again(picture, tmp_path / f"out-{name}")
    assert back.orientation == orientation
    with Image.open(path) as before, Image.open(tmp_path / f"out-{name}") as after:
        assert before.size == after.size
        assert after.getexif()[0x0112] == orientation
    if name != "a.jpg":
        assert (back.codes == picture.codes).all()


def test_transparency_of_a_png_stays(photo, tmp_path):
    path = photo("a.png", mode="RGBA")
    with Image.open(path) as image:
        image.putalpha(Image.fromarray(codes_of()[..., 0]))
        image.save(path)
        alpha = np.asarray(image)[..., 3]
    again(read_picture(path), tmp_path / "out.png")
    with Image.open(tmp_path / "out.png") as image:
        assert (np.asarray(image)[..., 3] == alpha).all()


@pytest.mark.parametrize("mode", ["L", "P", "LA"])
def test_grey_and_palette_become_colour(photo, mode):
    picture = read_picture(photo("a.png", mode=mode))
    assert picture.codes.shape == (50, 70, 3)
    assert "made RGB" in picture.notes[0]


def test_transparency_of_a_tiff_is_said_to_go(photo):
    picture = read_picture(photo("a.tif", mode="RGBA"))
    assert picture.alpha is None
    assert "transparency" in picture.notes[0]


# -------------------------------------------------------------------------- metadata


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "a.tif"])
def test_pictures_say_that_they_are_simulated(photo, tmp_path, name):
    exif = Image.Exif()
    exif[0x010E] = "harbour day"
    exif[0x010F] = "maker"
    exif.get_ifd(0x8769)[0x829A] = 0.01
    again(read_picture(photo(name, exif=exif.tobytes())), tmp_path / f"out-{name}")
    with Image.open(tmp_path / f"out-{name}") as image:
        kept = image.getexif()
        assert kept[0x010E].startswith("simulated by tintlab: test")
        assert kept[0x0131] == "simulated by tintlab"
        assert kept[0x010F] == "maker"
        assert float(kept.get_ifd(0x8769)[0x829A]) == pytest.approx(0.01)
        if name == "a.png":
            assert image.info["Description"].startswith("simulated by tintlab")
    assert photo_write.is_ours(tmp_path / f"out-{name}")
    assert not photo_write.is_ours(tmp_path / name)


def test_the_corner_says_simulated():
    codes = np.full((400, 600, 3), 128, dtype=np.uint8)
    before = codes.copy()
    labelled(codes)
    changed = (codes != before).any(axis=-1)
    assert not changed[:350].any()
    assert not changed[:, :450].any()
    assert codes.max() > 220
    assert (labelled(codes_of(16, size=(10, 9))) < 2**16).all()  # too small: none


def test_exif_that_cannot_be_written_again_is_left_out(photo, tmp_path):
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "x" * 70000
    picture = read_picture(photo("a.png", exif=exif.tobytes()))
    back = again(picture, tmp_path / "out.png")
    assert back.orientation == 6
    assert 0x010F not in back.exif


# -------------------------------------------------------------------------- bad input


def test_photos_that_cannot_be(photo, tmp_path):
    with pytest.raises(InsetError, match="cannot read the photo"):
        read_picture(tmp_path / "none.jpg")
    with pytest.raises(InsetError, match="is a folder"):
        read_picture(tmp_path)
    with pytest.raises(InsetError, match="1 x 1 pixels, too few"):
        read_picture(photo("one.png", size=(1, 1)))
    with pytest.raises(InsetError, match=r"mode CMYK\); convert it to RGB"):
        read_picture(photo("c.jpg", mode="CMYK"))
    with pytest.raises(InsetError, match="is a GIF file"):
        read_picture(photo("g.gif", mode="P"))
    for name in ("t.jpg", "t.png", "t.tif"):
        path = photo(name)
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
        with pytest.raises(
            InsetError, match=r"copy it from the camera again|no picture"
        ):
            read_picture(path)
    for content, words in ((b"", "0 bytes"), (b"text", "no picture that we can read")):
        (tmp_path / "x.jpg").write_bytes(content)
        with pytest.raises(InsetError, match=words):
            read_picture(tmp_path / "x.jpg")
    (tmp_path / "h.heic").write_bytes(b"heic")
    with pytest.raises(InsetError, match="HEIF"):
        read_picture(tmp_path / "h.heic")


def test_a_deep_grey_photo_is_refused(tmp_path):
    Image.fromarray(codes_of(16)[..., 0]).save(tmp_path / "a.png")
    with pytest.raises(InsetError, match="convert it to RGB"):
        read_picture(tmp_path / "a.png")


def test_too_many_pixels_are_refused(photo, monkeypatch):
    monkeypatch.setattr(photo_open, "LARGEST", 1000)
    with pytest.raises(InsetError, match="million pixels"):
        read_picture(photo())


def test_raw_files_are_developed(tmp_path, monkeypatch):
    deep = codes_of(16)
    given = {}

    class Raw:
        def __enter__(self):
            return self

        def __exit__(self, *ignored):
            return False

        def postprocess(self, **options):
            given.update(options)
            return deep

    fake = types.ModuleType("rawpy")
    fake.imread = lambda _: Raw()
    fake.LibRawError = OSError
    fake.ColorSpace = types.SimpleNamespace(sRGB=1)
    monkeypatch.setitem(sys.modules, "rawpy", fake)
    monkeypatch.setattr(photo_raw, "header", lambda _: ((70, 50), 1))
    (tmp_path / "a.dng").write_bytes(b"raw")
    picture = read_picture(tmp_path / "a.dng")
    assert (picture.codes == deep).all()
    assert given["output_bps"] == 16
    assert given["no_auto_bright"]
    back = again(picture, tmp_path / "a.tif")
    assert (back.codes == deep).all()


# ---------------------------------------------------------------------- where it goes


def test_names_go_into_a_folder_or_are_taken(photo, tmp_path):
    picture = read_picture(photo("prop.tiff"))
    eye, phone = target_names(tmp_path, picture)
    assert (eye.name, phone.name) == ("prop-eye.tiff", "prop-phone.tiff")
    eye, _ = target_names(tmp_path / "show", picture)
    assert eye == tmp_path / "show-eye.tiff"
    eye, _ = target_names(tmp_path / "show.v2.jpg", picture)
    assert eye == tmp_path / "show.v2-eye.tiff"
    eye, _ = target_names(None, picture)
    assert eye.parent == tmp_path
    with pytest.raises(InsetError, match="does not exist"):
        target_names(tmp_path / "no" / "x", picture)


def test_all_files_are_written_or_none(tmp_path):
    target = tmp_path / "a.jpg"
    target.write_bytes(b"before")
    with pytest.raises(InsetError, match="cannot write"):
        write_all({target: b"after", tmp_path / "missing" / "b.jpg": b"x"})
    assert target.read_bytes() == b"before"
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]


def test_nothing_half_written_stays(tmp_path, monkeypatch):
    def fail(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(InsetError, match="Permission denied; choose another folder"):
        write_all({tmp_path / "a.jpg": b"x"})
    assert not list(tmp_path.iterdir())


def test_a_pair_needs_an_ending():
    with pytest.raises(InsetError, match=r"ends in .png or .jpg"):
        photo_write.encoded_pair(
            [codes_of(), codes_of()], types.SimpleNamespace(suffix=".gif", name="a.gif")
        )
    content = photo_write.encoded_pair(
        [codes_of(), codes_of()], types.SimpleNamespace(suffix=".png", name="a.png")
    )
    with Image.open(io.BytesIO(content)) as image:
        assert image.size == (70 + 70 + photo_write.GAP, 50)
