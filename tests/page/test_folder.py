"""What the page may touch on disk, and how it writes."""

import os
import stat
from pathlib import Path, PurePosixPath, PureWindowsPath

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tintlab.errors import PageError
from tintlab.page import folder as folders
from tintlab.page.folder import Folder, folder_of, plain_name, put_in_place, put_new


@pytest.fixture
def folder(tmp_path):
    """Return an opened folder with a secret beside it."""
    (tmp_path / "open").mkdir()
    (tmp_path / "secret.toml").write_text("[[light]]\n", encoding="utf-8")
    return folder_of(tmp_path / "open")


# -------------------------------------------------------------------- inside


def test_names_inside_are_found(folder):
    assert folder.inside("a.toml") == folder.root / "a.toml"
    assert folder.inside("sub/../a.toml") == folder.root / "a.toml"
    assert folder.inside(folder.root / "a.toml") == folder.root / "a.toml"


@pytest.mark.parametrize(
    "name",
    ["../secret.toml", "sub/../../secret.toml", "/etc/passwd", "..", "\0", "a\0b"],
)
def test_names_outside_are_refused(folder, name):
    with pytest.raises(PageError):
        folder.inside(name)


def test_a_folder_whose_name_begins_alike_is_outside(folder):
    beside = folder.root.with_name("open-too")
    beside.mkdir()
    with pytest.raises(PageError, match="outside the opened folder"):
        folder.inside(beside / "a.toml")


def test_links_that_lead_outside_are_refused(folder):
    (folder.root / "link.toml").symlink_to(folder.root.parent / "secret.toml")
    (folder.root / "up").symlink_to(folder.root.parent)
    (folder.root / "here.toml").symlink_to(folder.root / "a.toml")
    for name in ("link.toml", "up/secret.toml", "up/new.toml", "up"):
        with pytest.raises(PageError, match="outside the opened folder"):
            folder.inside(name)
    assert folder.inside("here.toml") == folder.root / "a.toml"


def test_a_ring_of_links_is_no_file(folder):
    (folder.root / "a").symlink_to(folder.root / "b")
    (folder.root / "b").symlink_to(folder.root / "a")
    with pytest.raises(PageError):
        folder.inside("a/x")


def test_a_file_opens_its_folder_and_a_missing_one_none(tmp_path):
    file = tmp_path / "x.toml"
    file.write_text("", encoding="utf-8")
    assert folder_of(file).root == tmp_path.resolve()
    assert folder_of(tmp_path).root == tmp_path.resolve()
    with pytest.raises(PageError, match="name an inset file"):
        folder_of(tmp_path / "none.toml")


def test_a_folder_without_rights(tmp_path, monkeypatch):
    monkeypatch.setattr(folders.os, "access", lambda *_: False)  # root may read all
    with pytest.raises(PageError, match="check its rights"):
        folder_of(tmp_path)


# --------------------------------------------------------------------- names


@pytest.mark.parametrize("name", ["twin", " twin ", "twin.toml"])
def test_a_new_name_gets_its_ending(folder, name):
    assert folder.named(name, ".toml") == folder.root / "twin.toml"


@pytest.mark.parametrize(
    "name",
    [
        *("", ".toml", "..", "../x", "a/../../x", "/etc/x", "a:b", "a\nb", "con", "x/"),
        *(".hidden", "aux.toml", "none/x", "..\\x", "C:\\x", "a?b", "x" * 300, "~/x"),
    ],
)
def test_a_name_that_cannot_be_is_refused(folder, name):
    with pytest.raises(PageError):
        folder.named(name, ".toml")


@pytest.mark.parametrize(
    ("sent", "plain"),
    [
        ("IMG_1.JPG", "IMG_1.JPG"),
        ("../../etc/passwd", "passwd"),
        ("C:\\x\\y.png", "y.png"),
        ("a\0b<c>.jpg", "a_b_c_.jpg"),
        ("nul.jpg", "_nul.jpg"),
        ("...", "_"),
        ("", "_"),
        ("é ü.jpg", "é ü.jpg"),
        ("x" * 300 + ".jpg", "x" * 196 + ".jpg"),
        ("é" * 300 + ".jpg", "é" * 98 + ".jpg"),
    ],
)
def test_a_sent_name_is_made_plain(sent, plain):
    assert plain_name(sent) == plain
    assert plain_name(plain) == plain


@given(st.text(max_size=300))
def test_any_sent_name_becomes_one_plain_part_of_a_path(sent):
    plain = plain_name(sent)
    assert PurePosixPath(plain).parts == PureWindowsPath(plain).parts == (plain,)
    assert not PureWindowsPath(plain).is_reserved()
    assert plain == plain.strip(". ")
    assert plain.isprintable()
    assert len(plain.encode()) <= 201
    assert plain_name(plain) == plain


@settings(
    max_examples=200,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    st.lists(st.sampled_from(["..", ".", "sub", "up", "x.toml", "", "~"]), max_size=6)
)
def test_any_path_is_inside_or_refused(folder, parts):
    up, sub = folder.root / "up", folder.root / "sub"
    sub.mkdir(exist_ok=True)
    if not up.is_symlink():
        up.symlink_to(folder.root.parent)
    name = "/".join(parts)
    by_hand = Path(os.path.realpath(folder.root / name))  # a second opinion
    inside = os.path.commonpath([by_hand, folder.root]) == str(folder.root)
    if inside:
        assert folder.inside(name) == by_hand
    else:
        with pytest.raises(PageError):
            folder.inside(name)


# ---------------------------------------------------------------------- list


def test_inset_files_are_listed_also_broken_ones(folder):
    root = folder.root
    (root / "sub").mkdir()
    (root / "shelf").mkdir()
    (root / "out").symlink_to(root.parent)
    for name in ("b.toml", "a.toml", "sub/c.toml", "shelf/no.toml"):
        (root / name).write_text('x = "\n [[ light ]]\n', encoding="utf-8")
    (root / "chips.toml").write_text("[[chip]]\n", encoding="utf-8")
    (root / "bytes.toml").write_bytes(b"\xff\xfe[[light]]")
    names = [p.relative_to(root).as_posix() for p in folder.inset_files()]
    assert names == ["a.toml", "b.toml", "sub/c.toml"]


def test_a_folder_that_went_away_is_told(tmp_path):
    with pytest.raises(PageError, match="cannot list"):
        Folder(root=tmp_path / "gone").inset_files()


# ------------------------------------------------------------------- writing


def test_a_file_is_replaced_whole_and_keeps_its_rights(tmp_path):
    path = tmp_path / "x.toml"
    path.write_bytes(b"old")
    path.chmod(0o600)
    put_in_place(path, b"new")
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert list(tmp_path.iterdir()) == [path]


def test_a_failed_write_leaves_the_old_file_and_no_crumbs(tmp_path, monkeypatch):
    path = tmp_path / "x.toml"
    path.write_bytes(b"old")

    def full(_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(folders.os, "fsync", full)
    with pytest.raises(PageError, match="No space left"):
        put_in_place(path, b"new")
    with pytest.raises(PageError, match="No space left"):
        put_new(tmp_path / "y.toml", b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_protected_file_and_a_missing_folder_are_told(tmp_path, monkeypatch):
    path = tmp_path / "x.toml"
    path.write_bytes(b"old")
    with pytest.raises(PageError, match="cannot write"):
        put_in_place(tmp_path / "none" / "x.toml", b"")
    with pytest.raises(PageError, match="cannot write"):
        put_new(tmp_path / "none" / "x.toml", b"")
    real = os.access
    monkeypatch.setattr(
        folders.os, "access", lambda p, mode: mode != os.W_OK and real(p, mode)
    )
    with pytest.raises(PageError, match="write-protected"):
        put_in_place(path, b"new")
    assert path.read_bytes() == b"old"


def test_a_new_file_never_takes_the_place_of_another(tmp_path):
    put_new(tmp_path / "x.toml", b"one")
    with pytest.raises(PageError, match="already; choose another name"):
        put_new(tmp_path / "x.toml", b"two")
    assert (tmp_path / "x.toml").read_bytes() == b"one"
