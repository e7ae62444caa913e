"""The working copy of an inset file: nothing that a maker did is lost."""

import shutil
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tintlab.errors import InsetError, PageError, ShelfError, TintlabError
from tintlab.inset import read_inset
from tintlab.page import book as books_module
from tintlab.page import folder as folder_module
from tintlab.page import steps
from tintlab.page.book import Book, Books, ChangedOnDisk, open_books
from tintlab.shelf import shelf_for

ROOT = Path(__file__).resolve().parents[2]
ONE, TWO = "one drag", "another drag"
DOSE = ("layer", 2, "dyes", 0, "dose")


@pytest.fixture
def place(tmp_path):
    """Return a copy of the demo's folder."""
    return Path(shutil.copytree(ROOT / "demo/tide-bell", tmp_path / "tide-bell"))


@pytest.fixture
def books(place):
    return open_books(place)


@pytest.fixture
def book(books):
    return books.open("tide-bell.toml")


def on_disk(book):
    return book.path.read_text(encoding="utf-8")


# ------------------------------------------------------------------ reading


def test_a_book_reads_what_the_command_line_reads(book):
    same = read_inset(book.path, shelf_for(book.path))
    assert book.problem is None
    assert book.inset.name == same.name == "Tide bell window"
    assert book.inset.layers[2].dosed[0].per_kg == same.layers[2].dosed[0].per_kg
    assert book.get(DOSE) == "4 drops"
    assert book.get(("layer", 9), "none") == "none"
    assert not book.dirty
    assert not book.can_undo


def test_unsaved_text_is_read_without_touching_the_file(book):
    before = on_disk(book)
    book.put(DOSE, "5 drops")
    assert book.inset.layers[2].dosed[0].dose.amount == 5
    assert book.dirty
    assert on_disk(book) == before
    shelf = shelf_for(book.path)
    by_command_line = read_inset(book.path, shelf, text=book.text)
    assert by_command_line.layers[2].dosed[0].dose.amount == 5


def test_a_broken_value_names_its_line_and_keeps_the_last_good_state(book):
    book.put(DOSE, "4 dorps")
    row = 1 + book.text.split("\n").index(
        '    { bottle = "sea blue", dose = "4 dorps" },'
    )
    assert book.problem.startswith(f"tide-bell.toml:{row}: dose")
    assert book.inset.layers[2].dosed[0].dose.amount == 4
    book.undo()
    assert book.problem is None


def test_a_broken_text_is_kept_and_can_be_mended(book):
    good = book.inset
    book.rewrite(book.text.replace('"9 mm"', '"9 mm'))
    assert "tide-bell.toml:35: " in book.problem
    assert book.inset is good
    assert book.get(DOSE) is None
    with pytest.raises(PageError, match="mend the line"):
        book.put(DOSE, "5 drops")
    book.save()
    again = Book(path=book.path, folder=book.folder)
    assert again.inset is None
    assert again.problem == book.problem
    again.rewrite(again.text.replace('"9 mm', '"8 mm"'))
    assert again.inset.layers[2].thickness == 8


def test_a_text_that_no_file_holds_is_refused(book):
    for text in ("x" * 4_000_001, "half \ud800"):
        with pytest.raises(PageError):
            book.rewrite(text)
    assert not book.dirty


def test_the_shelf_is_looked_at_anew(book, place):
    book.put(DOSE[:-1], {"bottle": "new green", "dose": "1 drop"})
    assert "new green" in book.problem
    old = (place / "shelf/bottles/sea-blue.toml").read_text(encoding="utf-8")
    (place / "shelf/bottles/new-green.toml").write_text(
        old.replace('name = "sea blue"', 'name = "new green"'), encoding="utf-8"
    )
    book.refresh()
    assert book.problem is None


# ------------------------------------------------------------------ outside


@pytest.mark.parametrize("name", ["../art.png", "/etc/passwd", "link.png"])
def test_a_picture_outside_the_folder_is_not_opened(book, place, monkeypatch, name):
    (place / "link.png").symlink_to("/etc/passwd")
    monkeypatch.setattr(books_module, "read_inset", None)  # would be a TypeError
    book.put(("target",), {"picture": {"file": name, "at": [1, 1]}})
    assert book.problem.startswith("tide-bell.toml:")
    assert "outside the opened folder" in book.problem


def test_a_shelf_that_leads_outside_is_not_read(book, place):
    outside = shutil.move(place / "shelf", place.parent / "common")
    (place / "shelf").symlink_to(outside)
    book.refresh()
    assert "tintlab page --shelf" in book.problem
    assert "sea blue" not in book.shelf.names("bottles")
    (place / "shelf").unlink()
    (place / "shelf" / "bottles").mkdir(parents=True)
    (place / "shelf" / "bottles" / "sea-blue.toml").symlink_to("/etc/passwd")
    book.refresh()
    assert "copy what it leads to" in book.problem
    (place / "shelf" / "bottles" / "sea-blue.toml").unlink()
    named = open_books(place, (Path(outside),)).open("tide-bell.toml")
    assert named.problem is None


def test_a_chips_file_that_names_a_photo_outside(books, place):
    path = place / "chips.toml"
    books.folder.check_named(path, '[photo]\nfile = "a.jpg"\nmarks = "art/m.toml"\n')
    with pytest.raises(InsetError, match=r"^chips.toml:2: .* outside"):
        books.folder.check_named(path, '[photo]\nmarks = "../m.toml"\n')


def test_files_outside_are_not_opened(books, place):
    outside = place.parent / "other.toml"
    outside.write_text('name = "x"\n', encoding="utf-8")
    (place / "link.toml").symlink_to(outside)
    for name in ("../other.toml", outside, "link.toml"):
        with pytest.raises(PageError, match="outside the opened folder"):
            books.open(name)
    with pytest.raises(PageError, match=r"end in \.toml"):
        books.open("art")


# --------------------------------------------------------------------- steps


def test_undo_and_redo_walk_through_every_step(book):
    texts = [book.text]
    for change in (
        lambda: book.put(DOSE, "5 drops"),
        lambda: book.insert(("layer", 1), {"kind": "gap"}),
        lambda: book.move(("layer", 0), 2),
        lambda: book.remove(("layer", 0)),
    ):
        change()
        texts.append(book.text)
    assert len(set(texts)) == 5
    for text in reversed(texts[:-1]):
        book.undo()
        assert book.text == text
    assert not book.dirty
    book.undo()
    assert book.text == texts[0]
    for text in texts[1:]:
        book.redo()
        assert book.text == text
    assert not book.can_redo


def test_a_change_after_undo_drops_what_was_undone(book):
    book.put(DOSE, "5 drops")
    book.undo()
    book.put(DOSE, "6 drops")
    assert not book.can_redo
    book.undo()
    assert book.get(DOSE) == "4 drops"


def test_a_drag_is_one_step_and_two_drags_are_two(book):
    for n in (5, 6, 7):
        book.put(DOSE, f"{n} drops", token=ONE)
    for n in (8, 9):
        book.put(DOSE, f"{n} drops", token=TWO)
    book.undo()
    assert book.get(DOSE) == "7 drops"
    book.put(DOSE, "1 drops", token=ONE)  # after undo a new step begins
    book.undo()
    assert book.get(DOSE) == "7 drops"
    book.undo()
    assert book.get(DOSE) == "4 drops"


def test_a_drag_after_saving_can_be_undone_to_what_was_saved(book):
    book.put(DOSE, "5 drops", token=ONE)
    book.save()
    book.put(DOSE, "6 drops", token=ONE)
    book.undo()
    assert book.get(DOSE) == "5 drops"
    assert not book.dirty


def test_a_group_is_one_step_and_holds_together(book):
    before = book.text
    with book.group():
        book.put(DOSE, "5 drops", token=ONE)
        with book.group():
            book.put(("name",), "other")
        book.put(("view", "room"), "sun")
    assert book.get(("name",)) == "other"
    book.undo()
    assert book.text == before
    with pytest.raises(PageError):
        _half_a_group(book)
    assert book.text == before
    assert book.can_redo


def _half_a_group(book):
    with book.group():
        book.put(DOSE, "7 drops")
        book.put(("layer", 99, "x"), 1)


def test_an_empty_group_and_an_equal_value_are_no_step(book):
    version = book.version
    with book.group():
        pass
    book.put(DOSE, "4 drops")
    assert not book.can_undo
    assert book.version == version


def test_the_version_rises_with_everything_that_shows(book):
    seen = [book.version]
    for act in (
        lambda: book.put(DOSE, "5 drops"),
        lambda: book.put(DOSE, "6 drops", token=ONE),
        lambda: book.put(DOSE, "7 drops", token=ONE),
        book.undo,
        book.redo,
        book.save,
        book.refresh,
        book.reload,
        lambda: book.save_as("two"),
    ):
        act()
        seen.append(book.version)
    assert seen == sorted(set(seen))


def test_the_oldest_steps_are_forgotten_in_the_end(book, monkeypatch):
    monkeypatch.setattr(steps, "MOST_STEPS", 10)
    for n in range(30):
        book.put(("light", 0, "count"), n + 10)
    assert len(book._steps) == 10
    for _ in range(20):
        book.undo()
    assert book.get(("light", 0, "count")) == 30


def test_it_may_be_read_from_other_threads_meanwhile(book, monkeypatch):
    monkeypatch.setattr(steps, "MOST_STEPS", 5)
    stop, wrong = threading.Event(), []

    def look():
        while not stop.is_set():
            if book.problem is not None or "[[light]]" not in book.text:
                wrong.append(book.problem)
            assert book.inset is not None

    with ThreadPoolExecutor(2) as pool:
        looking = [pool.submit(look) for _ in range(2)]
        for n in range(60):
            book.put(("light", 0, "count"), n + 10)
            if n % 7 == 0:
                book.undo()
        stop.set()
        for one in looking:
            one.result()
    assert wrong == []
    assert book.inset.lights[0].count == book.get(("light", 0, "count")) == 69


# -------------------------------------------------------------------- saving


def test_saving_writes_the_text_and_nothing_else(book, place):
    names = sorted(place.iterdir())
    book.put(DOSE, "5 drops")
    book.save()
    assert on_disk(book) == book.text
    assert not book.dirty
    assert not book.changed_on_disk()
    assert sorted(place.iterdir()) == names
    book.undo()
    assert book.dirty


def test_line_ends_and_byte_order_mark_stay(books, place):
    path = place / "tide-bell.toml"
    content = b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n")
    path.write_bytes(content)
    book = books.open(path)
    assert book.problem is None
    assert not book.changed_on_disk()
    book.put(DOSE, "5 drops")
    book.save()
    assert path.read_bytes() == content.replace(b"4 drops", b"5 drops")


def test_a_file_changed_meanwhile_is_not_overwritten(book):
    book.put(DOSE, "5 drops")
    theirs = on_disk(book).replace("9 mm", "7 mm")
    book.path.write_text(theirs, encoding="utf-8")
    assert book.changed_on_disk()
    with pytest.raises(ChangedOnDisk, match="was changed outside") as news:
        book.save()
    assert news.value.mine == book.text
    assert news.value.theirs == theirs == on_disk(book)
    assert book.dirty


def test_after_that_mine_can_be_kept_and_theirs_is_set_aside(book, place):
    book.put(DOSE, "5 drops")
    theirs = on_disk(book).replace("9 mm", "7 mm")
    book.path.write_text(theirs, encoding="utf-8")
    book.save(force=True)
    assert on_disk(book) == book.text
    old = place / "tide-bell.toml.old"
    assert old.read_text(encoding="utf-8") == theirs
    assert old not in book.folder.inset_files()


def test_or_theirs_taken_over_with_mine_one_undo_away(book):
    book.put(DOSE, "5 drops")
    mine = book.text
    theirs = on_disk(book).replace("9 mm", "7 mm")
    book.path.write_text(theirs, encoding="utf-8")
    book.reload()
    assert book.text == theirs
    assert not book.dirty
    assert book.inset.layers[2].thickness == 7
    book.undo()
    assert book.text == mine
    assert book.dirty
    book.save()
    assert on_disk(book) == mine


def test_or_mine_saved_under_another_name(books, book, place):
    book.put(DOSE, "5 drops")
    book.path.write_text("theirs", encoding="utf-8")
    book.save_as("twin")
    assert book.path == place / "twin.toml"
    assert on_disk(book) == book.text
    assert not book.dirty
    assert (place / "tide-bell.toml").read_text(encoding="utf-8") == "theirs"
    assert books.open("twin.toml") is book
    assert books.open("tide-bell.toml") is not book


@pytest.mark.parametrize("name", ["cast-too-dark", "tide-bell.toml", "../x", "", "a/b"])
def test_a_name_that_clashes_or_leads_outside_is_told(book, place, name):
    names = sorted(place.iterdir())
    with pytest.raises(PageError):
        book.save_as(name)
    assert book.path == place / "tide-bell.toml"
    assert sorted(place.iterdir()) == names


def test_a_vanished_file_is_written_anew(book):
    book.path.unlink()
    assert book.vanished()
    assert not book.changed_on_disk()
    with pytest.raises(InsetError, match="cannot read"):
        book.reload()
    assert book.inset is not None
    book.save()
    assert on_disk(book) == book.text


def test_a_folder_that_went_away_keeps_the_text(book, place):
    book.put(DOSE, "5 drops")
    shutil.rmtree(place)
    with pytest.raises(PageError, match="cannot write"):
        book.save()
    assert book.dirty
    assert not book.keep_unsaved()


def test_a_folder_without_rights_keeps_the_text(book, monkeypatch):
    def denied(**_):  # a root account, as in a container, may write everywhere
        raise PermissionError(13, "Permission denied")

    book.put(DOSE, "5 drops")
    before = on_disk(book)
    monkeypatch.setattr(folder_module.tempfile, "mkstemp", denied)
    with pytest.raises(PageError, match="Permission denied; nothing was changed"):
        book.save()
    with pytest.raises(PageError, match="Permission denied"):
        book.save_as("twin")
    assert not book.keep_unsaved()
    assert book.dirty
    assert on_disk(book) == before
    assert not book.path.with_name("twin.toml").exists()


def test_a_link_put_in_the_place_of_the_file_is_not_followed(book, place):
    outside = place.parent / "outside.toml"
    outside.write_text("precious", encoding="utf-8")
    book.path.unlink()
    book.path.symlink_to(outside)
    book.put(DOSE, "5 drops")
    with pytest.raises(PageError):
        book.save(force=True)
    assert outside.read_text(encoding="utf-8") == "precious"


def test_two_pages_share_one_book(books, place):
    one = books.open("tide-bell.toml")
    two = books.open(place / "art" / ".." / "tide-bell.toml")
    assert one is two
    one.put(DOSE, "5 drops")
    two.put(("view", "room"), "sun")
    two.save()
    assert "5 drops" in on_disk(one)
    assert '"sun"' in on_disk(one)


def test_two_programs_on_one_file_notice_each_other(place):
    one, two = (open_books(place).open("tide-bell.toml") for _ in range(2))
    one.put(DOSE, "5 drops")
    one.save()
    two.put(("view", "room"), "sun")
    assert two.changed_on_disk()
    with pytest.raises(ChangedOnDisk):
        two.save()


# ------------------------------------------------------------------- unsaved


def test_what_was_not_saved_comes_back(books, book, place):
    book.put(DOSE, "5 drops")
    mine = book.text
    assert books.keep_unsaved() == [book]
    again = open_books(place).open("tide-bell.toml")
    assert again.text == mine
    assert "not saved is back" in again.note
    assert again.dirty
    again.undo()
    assert again.text == on_disk(again)
    again.redo()
    again.save()
    assert not (place / "tide-bell.toml.unsaved").exists()
    assert open_books(place).open("tide-bell.toml").note == ""


def test_what_was_saved_or_undone_leaves_nothing_behind(books, book, place):
    kept = place / "tide-bell.toml.unsaved"
    book.put(DOSE, "5 drops")
    books.keep_unsaved()
    assert kept.exists()
    book.undo()
    assert books.keep_unsaved() == []
    assert not kept.exists()


def test_what_was_not_saved_is_not_put_over_a_file_that_was_changed(books, book, place):
    book.put(DOSE, "5 drops")
    mine = book.text
    books.keep_unsaved()
    theirs = on_disk(book).replace("9 mm", "7 mm")
    book.path.write_text(theirs, encoding="utf-8")
    again = open_books(place)
    assert again.open("tide-bell.toml").text == theirs
    assert not again.open("tide-bell.toml").dirty
    assert 'those are in "tide-bell-unsaved.toml"' in again.open("tide-bell.toml").note
    assert not (place / "tide-bell.toml.unsaved").exists()
    assert again.open("tide-bell-unsaved.toml").text == mine
    assert place / "tide-bell-unsaved.toml" in again.folder.inset_files()


def test_what_is_kept_is_as_private_as_its_file(books, book, place):
    book.path.chmod(0o600)
    book.put(DOSE, "5 drops")
    books.keep_unsaved()
    book.path.write_text("changed", encoding="utf-8")
    book.save(force=True)
    book.put(DOSE, "6 drops")
    books.keep_unsaved()
    for path in place.glob("tide-bell.toml*"):
        assert path.stat().st_mode & 0o777 == 0o600
    assert len(list(place.glob("tide-bell.toml*"))) == 3


def test_a_broken_or_foreign_rest_does_not_hinder(place):
    kept = place / "tide-bell.toml.unsaved"
    for content in (b"", b"\xff\xfe"):
        kept.write_bytes(content)  # as from a disk that was full
        assert not open_books(place).open("tide-bell.toml").dirty
    kept.unlink()
    kept.symlink_to("/etc/passwd")
    assert not open_books(place).open("tide-bell.toml").dirty


# ------------------------------------------------------------------- opening


def test_opening_a_file_a_folder_and_neither(place, tmp_path):
    assert open_books(place).first is None
    opened = open_books(place / "tide-bell.toml")
    assert opened.first == place / "tide-bell.toml"
    assert opened.folder.root == place
    for path in (tmp_path / "none", place / "art" / "none.toml"):
        with pytest.raises(PageError):
            open_books(path)
    with pytest.raises(ShelfError):
        open_books(place, (tmp_path / "no-shelf",))


@pytest.mark.parametrize("content", [b"", b"  \n", b"\xff\xfe", b"x" * 4_000_001])
def test_a_file_that_is_no_text_is_told(place, content):
    (place / "x.toml").write_bytes(content)
    with pytest.raises(TintlabError, match=r"^x\.toml"):
        open_books(place / "x.toml")


def test_a_new_file_is_written_and_opened(books, place):
    book = books.create("new", 'name = "n"\n\n[[light]]\nemitter = "red"\n')
    assert book.path == place / "new.toml"
    assert book.inset.name == "n"
    with pytest.raises(PageError, match="already"):
        books.create("new", "")


# ------------------------------------------------------------------- command


def test_the_command_gives_the_same_answer(book, place, monkeypatch):
    monkeypatch.chdir(place)
    assert book.command() == "tintlab glow tide-bell.toml"
    assert book.command("trim", "--side", "led") == (
        "tintlab trim tide-bell.toml --side led"
    )
    assert book.command("chip plan") == "tintlab chip plan tide-bell.toml"
    book.put(DOSE, "5 drops")
    assert book.command() == "save first, then: tintlab glow tide-bell.toml"


def test_the_command_names_shelves_and_odd_paths(place, monkeypatch):
    monkeypatch.chdir(place.parent)
    shelf = place / "shelf"
    odd = place.rename(place.with_name("it's a bell"))
    book = open_books(odd / "tide-bell.toml", (odd / "shelf",)).open("tide-bell.toml")
    assert book.command().startswith("tintlab glow 'it'\"'\"'s a bell/tide-bell.toml'")
    assert "--shelf" in book.command()
    assert not shelf.exists()


def test_books_are_a_plain_record(books):
    assert isinstance(books, Books)
    assert books.unsaved() == []
