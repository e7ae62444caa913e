"""One colour from a picture: by hand, in every kind of file, and from broken ones."""

import io
import os
import struct
import zlib

import numpy as np
import pytest
from PIL import Image, ImageCms

from tintlab.colorimetry import hex_to_XYZ, rgb_to_XYZ
from tintlab.errors import InsetError, TintlabError
from tintlab.picture import open_picture, patch

RNG = np.random.default_rng(3)
SEA = (47, 163, 154)


@pytest.fixture
def saved(tmp_path):
    """Return a function that saves an array, or a picture, and names the file."""

    def save(picture, name="x.png", **options):
        if isinstance(picture, np.ndarray):
            picture = Image.fromarray(picture)
        path = tmp_path / name
        picture.save(path, **options)
        return path

    return save


def plain(colour=SEA, *, width=32, height=24):
    codes = np.empty((height, width, 3), dtype=np.uint8)
    codes[:] = colour
    return codes


def same(found, wanted):
    return np.abs(found.XYZ - wanted).max() < 1e-12


# ------------------------------------------------------------------ by hand


def test_an_even_patch_is_its_colour(saved):
    found = patch(saved(plain()), at=(10, 10), radius=4)
    assert same(found, hex_to_XYZ("#2fa39a"))
    assert found.clipped == 0.0


def test_the_mean_is_that_of_light_not_of_codes(saved):
    """Half black and half white is 50 % of the light, code 188, not code 128."""
    codes = np.zeros((24, 32, 3), dtype=np.uint8)
    codes[::2] = 255
    found = patch(saved(codes), at=(16, 12), radius=10)
    rows, columns = np.mgrid[:24, :32]
    inside = np.hypot(columns - 16, rows - 12) <= 10
    share = inside[::2].sum() / inside.sum()
    assert same(found, share * rgb_to_XYZ([255, 255, 255]))
    assert found.clipped == pytest.approx(share)
    assert share == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize(
    ("radius", "count"), [(0, 1), (0.4, 1), (1, 5), (1.5, 9), (2, 13)]
)
def test_pixels_of_a_round_patch(saved, radius, count):
    """One red pixel in the middle weighs 1 / count (5 in a cross, 9 in a square)."""
    codes = plain((0, 0, 0))
    codes[12, 16] = (200, 0, 0)
    found = patch(saved(codes), at=(16, 12), radius=radius)
    assert same(found, rgb_to_XYZ([200, 0, 0]) / count)


def test_column_comes_before_row(saved):
    codes = plain((0, 0, 0))
    codes[3, 20] = SEA
    assert patch(saved(codes), at=(20, 3), radius=0).XYZ[1] > 0.1
    assert patch(saved(codes), at=(3, 20), radius=0).XYZ[1] == 0


def test_a_patch_at_the_edge_is_cut_off(saved):
    codes = plain((0, 0, 0))
    codes[0, 0] = codes[0, 1] = codes[1, 0] = SEA
    found = patch(saved(codes), at=(0, 0), radius=1)
    assert same(found, rgb_to_XYZ(SEA))
    assert patch(saved(codes), at=(31.9, 23.9), radius=2000).XYZ[1] > 0


def test_clipped_counts_any_channel_at_its_end(saved):
    codes = plain()
    codes[:, 16:] = (255, 163, 154)
    found = patch(saved(codes), at=(16, 12), radius=8)
    rows, columns = np.mgrid[:24, :32]
    inside = np.hypot(columns - 16, rows - 12) <= 8
    assert found.clipped == pytest.approx(inside[:, 16:].sum() / inside.sum())


# ------------------------------------------------------------- kinds of file


@pytest.mark.parametrize(
    ("mode", "name", "off"),
    [
        ("RGB", "x.png", 0),
        ("RGBA", "x.png", 0),
        ("RGB", "x.tif", 0),
        ("CMYK", "x.tif", 0),
        ("RGB", "x.bmp", 0),
        ("RGB", "x.webp", 5),
        ("RGB", "x.jpg", 3),
        ("CMYK", "x.jpg", 3),
    ],
)
def test_modes_and_formats(saved, mode, name, off):
    picture = Image.fromarray(plain()).convert(mode)
    codes = np.asarray(open_picture(saved(picture, name)))
    assert codes.shape == (24, 32, 3)
    assert np.abs(codes.astype(int) - SEA).max() <= off


@pytest.mark.parametrize(("mode", "off"), [("P", 0), ("L", 0), ("LA", 0), ("1", 0)])
def test_palette_grey_and_line_pictures(saved, mode, off):
    colour = (51, 153, 204) if mode == "P" else (255, 255, 255)  # a web-safe colour
    picture = Image.fromarray(plain(colour)).convert(mode)
    codes = np.asarray(open_picture(saved(picture)))
    assert np.abs(codes.astype(int) - colour).max() <= off


@pytest.mark.parametrize(
    ("codes", "name"),
    [
        (np.full((24, 32), 30000, np.uint16), "x.png"),
        (np.full((24, 32), 30000, np.uint16), "x.tif"),
        (np.full((24, 32), 30000, np.int32), "x.tif"),
        (np.full((24, 32), 0.5, np.float32), "x.tif"),
    ],
)
def test_more_than_8_bits_of_grey_are_refused_not_clipped_to_white(saved, codes, name):
    with pytest.raises(InsetError, match="more than 8 bits of grey; save it as an 8-b"):
        open_picture(saved(codes, name))


def test_16_bit_colour_is_read_by_its_upper_bytes(tmp_path):
    """A PNG of 16 bits a channel, written by hand after ISO/IEC 15948."""

    def chunk(kind, body):
        check = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)

    row = b"\0" + b"".join(struct.pack(">3H", *(c * 257 for c in SEA)) for _ in "1234")
    path = tmp_path / "x.png"
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">2I5B", 4, 4, 16, 2, 0, 0, 0))
        + chunk(b"IDAT", zlib.compress(row * 4))
        + chunk(b"IEND", b"")
    )
    assert np.asarray(open_picture(path))[2, 2].tolist() == list(SEA)


# EXIF 2.3, tag 0x0112: where the first row and the first column of the stored picture
# belong. The marked pixel is stored in the upper left.
ORIENTATION = {
    1: (0, 0),
    2: (-1, 0),
    3: (-1, -1),
    4: (0, -1),
    5: (0, 0),
    6: (-1, 0),
    7: (-1, -1),
    8: (0, -1),
}


@pytest.mark.parametrize("orientation", ORIENTATION)
def test_a_turned_photo_is_the_right_way_up(saved, orientation):
    codes = plain((0, 0, 0))
    codes[:4, :4] = SEA
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = saved(codes, exif=exif.tobytes())
    picture = open_picture(path)
    assert picture.size == ((32, 24) if orientation < 5 else (24, 32))
    column, row = (
        side - 2 if end else 1
        for side, end in zip(picture.size, ORIENTATION[orientation], strict=True)
    )
    assert same(patch(path, at=(column, row), radius=1), rgb_to_XYZ(SEA))


def profile_with_red_and_green_swapped():
    """sRGB's profile with two entries of its tag table exchanged (ICC.1, 7.3)."""
    whole = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return (
        whole.replace(b"rXYZ", b"tmp0")
        .replace(b"gXYZ", b"rXYZ")
        .replace(b"tmp0", b"gXYZ")
    )


def test_a_colour_profile_is_applied(saved):
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    codes = np.asarray(open_picture(saved(plain(), icc_profile=srgb))).astype(int)
    assert np.abs(codes - SEA).max() <= 1
    path = saved(plain((200, 40, 90)), icc_profile=profile_with_red_and_green_swapped())
    codes = np.asarray(open_picture(path)).astype(int)
    assert np.abs(codes - (40, 200, 90)).max() <= 1


def test_a_profile_that_is_none_is_an_error_not_a_guess(saved):
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for profile in (b"no profile at all", lab):
        with pytest.raises(InsetError, match="cannot read the picture"):
            open_picture(saved(plain(), icc_profile=profile))


# ----------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    "at",
    [
        (-1, 0),
        (0, -0.5),
        (32, 5),
        (5, 24),
        (1e300, 5),
        (float("nan"), 5),
        (5, float("inf")),
    ],
)
def test_a_point_outside(saved, at):
    with pytest.raises(InsetError) as error:
        patch(saved(plain()), at=at, radius=3)
    text = str(error.value)
    assert text.startswith("the point ")
    assert 'outside the picture "x.png" of 32 x 24 pixels; choose a point in' in text


def test_a_missing_file_a_folder_and_an_empty_file(tmp_path):
    for path, says in (
        (tmp_path / "no.png", 'cannot read the picture "no.png": No such file'),
        (tmp_path, "cannot read the picture"),
        (tmp_path / "a\0b.png", "cannot read the picture"),
    ):
        with pytest.raises(InsetError, match=says):
            open_picture(path)
    for content in (b"", b"not a picture", b"\x89PNG\r\n\x1a\n"):
        (tmp_path / "x.png").write_bytes(content)
        with pytest.raises(InsetError, match=r"no picture that we can read; use JPEG"):
            open_picture(tmp_path / "x.png")


def test_a_huge_file_that_is_no_picture(tmp_path):
    path = tmp_path / "x.png"
    path.touch()
    os.truncate(path, 10**9)
    with pytest.raises(InsetError, match="no picture that we can read"):
        open_picture(path)


@pytest.mark.parametrize("side", [12_000, 30_000, 100_000])
def test_a_picture_of_too_many_pixels_is_not_decoded(tmp_path, side):
    body = struct.pack(">2I5B", side, side, 8, 2, 0, 0, 0)
    header = struct.pack(">I", 13) + b"IHDR" + body
    header += struct.pack(">I", zlib.crc32(b"IHDR" + body))
    path = tmp_path / "x.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + header + struct.pack(">I", 9) + b"IDAT")
    with pytest.raises(InsetError, match="more than 120 million pixels; scale it down"):
        open_picture(path)


@pytest.mark.parametrize("name", ["x.png", "x.jpg", "x.tif", "x.gif", "x.bmp"])
def test_a_truncated_picture(saved, name):
    noise = RNG.integers(0, 256, (64, 64, 3), dtype=np.uint8)
    path = saved(noise, name)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InsetError, match=r"check the file|use JPEG"):
        patch(path, at=(60, 60), radius=1)


@pytest.mark.parametrize(
    "kind", ["PNG", "JPEG", "TIFF", "GIF", "BMP", "WEBP", "PPM", "DDS", "SGI", "TGA"]
)
def test_no_damage_whatever_escapes_as_anything_but_our_error(tmp_path, kind):
    content = io.BytesIO()
    Image.fromarray(RNG.integers(0, 256, (16, 16, 3), dtype=np.uint8)).save(
        content, kind
    )
    chance, path = np.random.default_rng(4), tmp_path / "x.png"
    read = 0
    for round_ in range(60):
        damaged = bytearray(content.getvalue())
        if round_ % 2:
            del damaged[chance.integers(len(damaged)) :]
        for _ in range(chance.integers(4)):
            if damaged:
                damaged[chance.integers(min(len(damaged), 300))] = chance.integers(256)
        path.write_bytes(damaged)
        try:
            read += open_picture(path).size[0] > 0
        except TintlabError as error:
            assert "\n" not in str(error)  # noqa: PT017
    assert read > 0  # some came through, so that the loop did test reading
