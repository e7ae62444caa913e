"""A tour of bad input, as a maker would meet it: one line, and nothing is written."""

import io
import json
import shutil
import zlib

import numpy as np
import pytest
from click.testing import CliRunner
from ladders import DEMO, sensitivities
from PIL import Image, ImageCms
from scene import encode, exif, expose, save, save_codes, scene
from test_photo import icc

from tintlab.cli import main
from tintlab.colourants import dye_shape
from tintlab.shelf import open_shelf

BLANK = np.array([0.70, 0.60, 0.50])


def through(drops):
    """Sea blue in 3 mm, 1.3 times as strong as its label: Beer and Lambert at 1 nm."""
    shelf = open_shelf(DEMO / "shelf")
    light = shelf.find("emitters", "white 4100 K").power
    per_kg = drops * 0.025 / (20 + drops * 0.025) * 1000
    shape = dye_shape(shelf.find("dyes", "solvent blue 104"))
    S, passed = sensitivities(), 10 ** -(1.3 * 0.06 * per_kg * 3 * shape)
    return (S * light * passed).sum(axis=1) / (S * light).sum(axis=1)


CHIP, DEEP = through(2), through(4)
LIGHT = scene({(300, 100): BLANK, (300, 200): BLANK * CHIP, (300, 300): BLANK * DEEP})
MARKS = (
    "--blank",
    "300,100,18",
    "--chip",
    "one=300,200,18",
    "--chip",
    "two=300,300,18",
)
FILE = """
name = "tour"
emitter = "white 4100 K"
[photo]
file = "chips.jpg"
marks = "marks.toml"
{second}
[body]
medium = "epoxy"
thickness = "3 mm"
batch = "20 g"
[[chip]]
name = "one"
dyes = [{{ bottle = "sea blue", dose = "{one}" }}]
[[chip]]
name = "two"
dyes = [{{ bottle = "sea blue", dose = "{two}" }}]
"""
SPOTS = """
[blank]
at = [300, 100]
radius = 18
[[chip]]
name = "one"
at = [300, 200]
radius = 18
[[chip]]
name = "two"
at = [300, 300]
radius = 18
"""


def run(*words):
    return CliRunner().invoke(main, ["chip", *(str(w) for w in words)])


def shot(path, light=LIGHT, *, data=..., **how):
    data = exif(seconds="1/50") if data is ... else data
    return save(path, expose(light, noise=0.005, **how), data=data)


def picture():
    return Image.fromarray(np.round(encode(expose(LIGHT)) * 255).astype(np.uint8))


@pytest.fixture
def bench(tmp_path):
    """A maker's folder: a shelf, a photo, its marks, and a chips file."""
    shutil.copytree(DEMO / "shelf", tmp_path / "shelf")
    shot(tmp_path / "chips.jpg")
    (tmp_path / "marks.toml").write_text(SPOTS, encoding="utf-8")
    write(tmp_path)
    return tmp_path


def write(folder, *, one="2 drops", two="4 drops", second="", old="", new=""):
    text = FILE.format(one=one, two=two, second=second).replace(old, new)
    (folder / "chips.toml").write_text(text, encoding="utf-8")


def everything(folder):
    return {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def refused(folder, says):
    """Learning, with --keep, says why in one line and writes nothing."""
    before = everything(folder)
    done = run("learn", folder / "chips.toml", "--keep")
    assert done.exit_code == 1, done.output
    assert says in done.output
    error = [x for x in done.output.splitlines() if x.startswith("Error: ")]
    assert len(error) == 1
    assert everything(folder) == before
    return done.output


def test_the_bench_is_right(bench):
    """What the tour breaks works when it is whole."""
    done = run("learn", bench / "chips.toml", "--keep")
    assert done.exit_code == 0, done.output
    assert "wrote" in done.output


# ------------------------------------------------------------ what was photographed


def test_a_blank_that_is_missing(bench):
    spots = SPOTS[SPOTS.index("[[chip]]") :]
    (bench / "marks.toml").write_text(spots, encoding="utf-8")
    refused(bench, "there is no [blank], the undyed chip")


def test_chips_changed_over(bench):
    swapped = SPOTS.replace('"one"', '"x"').replace('"two"', '"one"')
    swapped = swapped.replace('"x"', '"two"')
    (bench / "marks.toml").write_text(swapped, encoding="utf-8")
    output = refused(bench, "so nothing was written")
    assert "chips swapped" in output


def test_the_same_dose_twice_is_one_dose(bench):
    light = scene({(300, 100): BLANK, (300, 200): BLANK * CHIP,
                   (300, 300): BLANK * CHIP * 1.01})  # fmt: skip
    shot(bench / "chips.jpg", light)
    write(bench, two="2 drops")
    done = run("learn", bench / "chips.toml", "--json")
    assert json.loads(done.output)["learned"][0]["after_grade"] == "chipped"


def test_a_photo_of_something_else(bench):
    rows, columns = np.mgrid[:400, :600]
    x = np.stack([columns / 600, rows / 400, (rows + columns) % 97 / 97], axis=-1)
    shot(bench / "chips.jpg", x * 0.9)
    refused(bench, "uneven")
    flat = scene({(300, 100): [0.7, 0.2, 0.1], (300, 200): [0.1, 0.19, 0.09],
                  (300, 300): [0.6, 0.02, 0.09]})  # fmt: skip
    shot(bench / "chips.jpg", flat)
    refused(bench, "so nothing was written")


# ------------------------------------------------------------ how it was taken


def test_two_files_of_which_the_camera_chose_the_exposure(bench):
    write(bench, second='second = "dark.jpg"')
    shot(bench / "dark.jpg", gain=0.9, seed=2, data=exif(seconds="1/200"))
    refused(bench, "lock the exposure")


def test_hdr_by_its_tag_and_by_its_gain_map(bench):
    shot(bench / "chips.jpg", data=exif(seconds="1/50", rendered=3))
    refused(bench, "HDR")
    packet = b'<x xmlns:h="http://ns.example/hdr-gain-map/1.0/"/>'
    picture().save(bench / "chips.jpg", xmp=packet, quality=92)
    refused(bench, "HDR picture with a gain map")


def test_no_exif_is_said_and_read(bench):
    shot(bench / "chips.jpg", data=None)
    done = run("learn", bench / "chips.toml")
    assert done.exit_code == 0
    assert "has no EXIF data" in " ".join(done.output.split())


# ------------------------------------------------------------ what the file is


def bomb():
    body = io.BytesIO()
    Image.new("RGB", (8, 8)).save(body, "PNG")
    data = bytearray(body.getvalue())
    data[16:24] = (60_000).to_bytes(4, "big") * 2
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    return bytes(data)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (lambda _: b"", "has 0 bytes"),
        (lambda whole: whole[: len(whole) // 2], "copy it from the camera again"),
        (lambda whole: whole[:200], "chips.jpg"),
        (lambda _: bomb(), "more than 80 million pixels"),
        (lambda _: b"no picture at all", "is no picture that we can read"),
    ],
)
def test_a_file_that_is_none(bench, content, says):
    path = bench / "chips.jpg"
    path.write_bytes(content(path.read_bytes()))
    refused(bench, says)


def with_alpha(alpha):
    whole = picture()
    return Image.merge("RGBA", (*whole.split(), Image.fromarray(alpha)))


@pytest.mark.parametrize(
    ("name", "made", "says"),
    [
        ("a.png", lambda: picture().convert("P"), "(mode P)"),
        ("a.gif", picture, "(mode P)"),
        ("a.jpg", lambda: picture().convert("CMYK"), "(mode CMYK)"),
        ("a.tif", lambda: picture().convert("LAB"), "no plain RGB"),
        ("a.jpg", lambda: picture().convert("L"), "is black and white"),
        ("a.png", lambda: picture().convert("LA"), "is black and white"),
        ("a.tif", lambda: picture().convert("I"), "is black and white"),
    ],
)
def test_pictures_without_three_channels(tmp_path, name, made, says):
    path = tmp_path / name
    made().save(path)
    done = run("read", path, *MARKS)
    assert done.exit_code == 1
    assert says in done.output
    assert "use the file of the camera" in done.output
    assert done.output.count("\n") == 1


def test_transparency_hides_colour(tmp_path):
    path = tmp_path / "a.png"
    alpha = np.full((400, 600), 255, dtype=np.uint8)
    with_alpha(alpha).save(path)
    assert run("read", path, *MARKS).exit_code == 0
    alpha[:20] = 0  # beside every mark
    with_alpha(alpha).save(path)
    assert run("read", path, *MARKS).exit_code == 0
    alpha[195:205, 295:305] = 120  # inside one
    with_alpha(alpha).save(path)
    done = run("read", path, *MARKS)
    assert done.exit_code == 1
    assert "is transparent at a mark" in done.output
    picture().save(path, transparency=(9, 9, 9))
    assert "has a transparent colour" in run("read", path, *MARKS).output


def test_a_wide_profile_with_the_tone_curve_of_srgb(tmp_path):
    """Display P3 has sRGB's curve (IEC 61966-2-1) as parameters of an ICC profile."""
    numbers = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
    fixed = b"".join(round(v * 65536).to_bytes(4, "big") for v in numbers)
    tag = b"para\0\0\0\0" + (3).to_bytes(2, "big") + b"\0\0" + fixed
    codes = np.asarray(picture())
    path = save_codes(tmp_path / "p3.jpg", codes, icc=icc(tag), quality=95)
    done = run("read", path, *MARKS, "--json")
    assert done.exit_code == 0, done.output
    found = json.loads(done.output)["chips"][0]["ratio"]
    assert found == pytest.approx(CHIP, rel=0.03)
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = save_codes(tmp_path / "s.jpg", codes, icc=srgb, quality=95)
    again = json.loads(run("read", path, *MARKS, "--json").output)["chips"][0]["ratio"]
    assert again == pytest.approx(found, rel=0.005)
    path = save_codes(tmp_path / "x.jpg", codes, icc=icc(b"mft2" + bytes(20)))
    assert "without plain tone curves" in run("read", path, *MARKS).output


# ------------------------------------------------------------ where it should go


def test_a_shelf_that_cannot_be_written_to(bench):
    (bench / "taken").write_text("a file", encoding="utf-8")
    before = everything(bench)
    done = run("learn", bench / "chips.toml", "--keep", "--into", bench / "taken")
    assert done.exit_code == 1
    assert "cannot write" in done.output
    assert "Traceback" not in done.output
    assert everything(bench) == before


def test_an_empty_folder_becomes_a_shelf(bench):
    (bench / "new").mkdir()
    done = run("learn", bench / "chips.toml", "--keep", "--into", bench / "new")
    assert done.exit_code == 0, done.output
    assert (bench / "new" / "bottles" / "sea-blue.toml").is_file()


def test_a_chips_file_from_inside_its_folder(tmp_path, monkeypatch):
    shutil.copytree(DEMO, tmp_path / "bell")
    monkeypatch.chdir(tmp_path / "bell" / "chips")
    done = run("learn", "chips.toml", "--json")
    assert done.exit_code == 0, done.output
