"""Photos that come in over the page are believed only when they decode."""

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tintlab.errors import PageError, TintlabError
from tintlab.page import uploads
from tintlab.page.folder import folder_of
from tintlab.page.uploads import check, keep

ROOT = Path(__file__).resolve().parents[2]
CHIPS = (ROOT / "demo/tide-bell/art/chips.jpg").read_bytes()


@pytest.fixture
def folder(tmp_path):
    return folder_of(tmp_path)


def listed(folder):
    return sorted(
        p.relative_to(folder.root).as_posix()
        for p in folder.root.rglob("*")
        if p.is_file()
    )


def png(width, height, rows=b""):
    """Return a PNG that promises a size, and holds as many rows as are given."""

    def chunk(kind, data):
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


def picture(kind):
    out = io.BytesIO()
    codes = np.full((8, 8, 3), 90, dtype=np.uint8)
    Image.fromarray(codes).save(out, kind)
    return out.getvalue()


def test_a_photo_is_kept_as_it_came(folder):
    path = keep(folder, "IMG 1.jpg", CHIPS)
    assert path == folder.root / "pictures" / "IMG 1.jpg"
    assert path.read_bytes() == CHIPS


def test_a_second_of_the_same_name_gets_its_own(folder):
    first, second = (keep(folder, "a.png", picture("PNG")) for _ in range(2))
    assert (first.name, second.name) == ("a.png", "a-2.png")
    assert listed(folder) == ["pictures/a-2.png", "pictures/a.png"]


@pytest.mark.parametrize(
    "name", ["../../evil.png", "/etc/evil.png", "..\\evil.png", "a/../evil.png"]
)
def test_a_sent_name_leads_nowhere(folder, name):
    assert keep(folder, name, picture("PNG")) == folder.root / "pictures/evil.png"


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "1"])
def test_reference_art_may_be_of_any_kind(folder, mode):
    out = io.BytesIO()
    Image.new(mode, (4, 4)).save(out, "TIFF")
    assert keep(folder, f"{mode}.tif", out.getvalue()).is_file()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.jpg", b""),
        ("text.jpg", b"<script>alert(1)</script>"),
        ("cut.jpg", CHIPS[: len(CHIPS) // 2]),
        ("half.png", picture("PNG")[:50]),
        ("bomb.png", png(50_000, 50_000)),
        ("rows.png", png(2_000, 2_000, b"\0" * 50)),
        ("svg.svg", b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>'),
        ("phone.heic", b"\0\0\0\x18ftypheic"),
        ("raw.dng", b"II*\0junk"),
        ("a.toml", b"[[light]]"),
        ("page.html", picture("PNG")),  # a picture all right, but not by its name
        ("picture", picture("PNG")),
    ],
    ids=lambda part: part if isinstance(part, str) else "",
)
def test_what_does_not_decode_is_refused_in_one_sentence(folder, name, content):
    with pytest.raises(TintlabError) as problem:
        keep(folder, name, content)
    assert "\n" not in str(problem.value)
    assert listed(folder) == []


def test_a_huge_file_is_refused_before_it_is_decoded(folder, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_UPLOAD", 1000)
    monkeypatch.setattr(uploads, "check", None)  # would be a TypeError
    with pytest.raises(PageError, match="can be uploaded"):
        keep(folder, "a.jpg", CHIPS)


def test_the_place_is_beside_the_inset_file(folder):
    (folder.root / "sub").mkdir()
    path = keep(folder, "a.png", picture("PNG"), beside=folder.root / "sub" / "x.toml")
    assert path == folder.root / "sub/pictures/a.png"
    with pytest.raises(PageError, match="outside the opened folder"):
        keep(folder, "a.png", picture("PNG"), beside=folder.root.parent / "x.toml")


def test_a_link_to_elsewhere_is_not_written_through(folder, tmp_path_factory):
    elsewhere = tmp_path_factory.mktemp("elsewhere")
    (folder.root / "pictures").symlink_to(elsewhere)
    with pytest.raises(PageError, match="outside the opened folder"):
        keep(folder, "a.png", picture("PNG"))
    assert list(elsewhere.iterdir()) == []


def test_a_file_in_the_place_of_the_folder_is_told(folder):
    (folder.root / "pictures").write_text("", encoding="utf-8")
    with pytest.raises(PageError, match="cannot make the folder"):
        keep(folder, "a.png", picture("PNG"))


def test_too_many_alike(folder, monkeypatch):
    monkeypatch.setattr(uploads, "MOST_ALIKE", 2)
    keep(folder, "a.png", picture("PNG"))
    with pytest.raises(PageError, match="rename the photo"):
        keep(folder, "a.png", picture("PNG"))


def test_checking_leaves_nothing_behind(tmp_path, monkeypatch):
    monkeypatch.setattr(uploads.tempfile, "tempdir", str(tmp_path))
    check("a.jpg", CHIPS)
    with pytest.raises(TintlabError):
        check("a.jpg", CHIPS[:5000])
    assert list(tmp_path.iterdir()) == []
