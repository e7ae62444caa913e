"""The page in a real Chromium: what a maker presses, and what the library says.

One server and one browser serve all tests; each test has its own copy of the demo.
Every test also fails on a console message and on a request that leaves this computer.
"""

import os
import re
import shutil
import tomllib

import pytest
from browser import DEMO, chromium, found, served, watched
from playwright.sync_api import expect

from tintlab.inset import read_inset
from tintlab.report import data
from tintlab.shelf import shelf_for
from tintlab.verdict import predict

CI = bool(os.environ.get("CI"))
pytestmark = pytest.mark.skipif(
    found() is None and not CI,
    reason="no Chromium on this computer; install it with: apt-get install chromium",
)
SLOW = 60_000  # [ms] for a search on a busy machine
PICTURE = "TINTLAB_PICTURES"  # when set, the README's picture is written anew


@pytest.fixture(scope="module")
def demos(tmp_path_factory):
    return tmp_path_factory.mktemp("demos")


@pytest.fixture(scope="module")
def server(demos):
    with served(demos) as running:
        yield running
    assert "Traceback" not in "".join(running.said)


@pytest.fixture(scope="module")
def browser():
    with chromium() as running:
        yield running


@pytest.fixture
def folder(demos, request):
    place = demos / re.sub(r"\W", "_", request.node.name)
    shutil.copytree(DEMO, place)
    return place


@pytest.fixture
def context(browser, server):
    opened = browser.new_context(
        viewport={"width": 1280, "height": 900}, reduced_motion="reduce"
    )
    opened.set_default_timeout(20_000)
    opened.request.get(server.address)  # the key in the address becomes the cookie
    yield opened
    opened.close()


@pytest.fixture
def visit(context, server, demos):
    """Open an inset file; at the end nothing may have gone wrong or out."""
    seen = []

    def open_(path, name="#difference"):
        one = watched(context.new_page())
        seen.append(one)
        base = server.address.split("/?")[0]
        one.page.goto(f"{base}/piece?file={path.relative_to(demos).as_posix()}")
        one.page.wait_for_selector(name)
        return one.page

    yield open_
    for one in seen:
        assert one.errors == []
        assert one.hosts == {"127.0.0.1"}


def answer(path, text=None):
    shelf = shelf_for(path)
    inset = read_inset(path, shelf, text=text)
    return data.flat(predict(inset))


def room(page, name):
    page.get_by_role("navigation").get_by_text(name, exact=True).click()


def shown(page):
    return {
        "glow_hex": page.locator(".viewing rect.glow").get_attribute("fill"),
        "difference": float(page.locator("#difference").inner_text()),
    }


def assert_shows(page, said):
    """Wait until the page shows an answer: swatch, difference, verdict."""
    glow = page.locator(".viewing rect.glow")
    expect(glow).to_have_attribute("fill", said["glow_hex"], timeout=SLOW)
    expect(page.locator("#difference")).to_have_text(
        f"{said['difference']:.1f}", timeout=SLOW
    )
    expect(page.locator("#verdict")).to_contain_text(said["verdict"], timeout=SLOW)


# ------------------------------------------------------------ the whole way


def test_a_drop_more_is_what_the_library_says_and_is_saved(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    assert_shows(page, answer(path))
    page.get_by_role("button", name="more sea blue").click()
    five = path.read_text(encoding="utf-8").replace('"4 drops"', '"5 drops"')
    assert_shows(page, answer(path, five))
    row = page.get_by_role("button", name=re.compile("5 drops sea blue"))
    expect(row).to_be_visible()
    assert '"4 drops"' in path.read_text(encoding="utf-8")  # not before it is asked

    page.get_by_role("button", name="undo").click()
    assert_shows(page, answer(path))
    page.get_by_role("button", name="redo").click()
    assert_shows(page, answer(path, five))
    page.get_by_role("button", name="save").click()
    expect(page.get_by_text("as saved")).to_be_visible()
    assert path.read_text(encoding="utf-8") == five  # comments and order are kept

    page.reload()
    assert_shows(page, answer(path))


def test_a_trim_is_found_and_applied(visit, folder):
    path = folder / "kiln-mask/ember-thick.toml"
    page = visit(path)
    before = shown(page)["difference"]
    room(page, "Fix")
    page.get_by_role("button", name="find what helps").click()
    page.locator("#found .fix").first.wait_for(timeout=SLOW)
    page.get_by_role("button", name=re.compile("^apply .*turquoise.*LED")).click()
    expect(page.locator("#difference")).not_to_have_text(f"{before:.1f}")
    page.get_by_role("button", name="save").click()
    expect(page.get_by_text("as saved")).to_be_visible()
    coats = tomllib.loads(path.read_text(encoding="utf-8"))["light"][0]["coats"]
    assert coats == [
        {"ink": "orange ink", "coats": 1},
        {"ink": "turquoise ink", "coats": 1},
    ]
    now = answer(path)
    assert now["difference"] < before - 0.5
    assert_shows(page, now)


def test_chips_are_pointed_at_learned_from_and_kept(visit, folder):
    place = folder / "tide-bell"
    shutil.rmtree(place / "pictures", ignore_errors=True)
    page = visit(place / "tide-bell.toml")
    room(page, "Make")
    page.locator("input[type=file]").first.set_input_files(place / "chips/chips.jpg")
    picture = page.locator(".photo img").first
    picture.wait_for()
    page.wait_for_function("document.querySelector('.photo img').naturalWidth > 0")
    scale = picture.bounding_box()["width"] / 1000  # the photo is 1,000 pixels wide
    rows = page.get_by_label(re.compile("^dose of chip"))
    for number, x in enumerate((103, 261, 419, 577, 735)):
        picture.click(position={"x": x * scale, "y": 150 * scale})
        expect(rows).to_have_count(number)
    for number, dose in enumerate(("2 drops", "4 drops", "5 drops", "9 drops"), 1):
        if number > 2:
            page.get_by_label(f"bottle in chip {number}").click()
            page.get_by_role("option", name="straw", exact=True).click()
        page.get_by_label(f"dose of chip {number}").fill(dose)
    page.get_by_role("button", name="learn", exact=True).last.click()
    lesson = page.locator(".lesson")
    expect(lesson).to_contain_text("sea blue", timeout=SLOW)
    expect(lesson).to_contain_text("label-only → laddered")
    page.get_by_role("button", name="keep it on my shelf").click()
    expect(page.get_by_text("kept on your shelf")).to_be_visible(timeout=SLOW)
    bottle = shelf_for(place / "tide-bell.toml").find("bottles", "sea blue")
    assert bottle.grade == "laddered"
    assert bottle.spread < 1.6  # it was a factor of 3 each way
    assert_shows(page, answer(place / "tide-bell.toml"))


def test_the_card_comes_down_as_a_pdf(visit, folder, tmp_path):
    page = visit(folder / "tide-bell/tide-bell.toml")
    room(page, "Make")
    page.get_by_role("button", name="make the card").click()
    press = page.get_by_role("button", name="download the card")
    press.wait_for(timeout=SLOW)
    with page.expect_download() as download:
        press.click()
    file = tmp_path / "card.pdf"
    download.value.save_as(file)
    assert download.value.suggested_filename == "tide-bell-card.pdf"
    content = file.read_bytes()
    assert content.startswith(b"%PDF-")
    assert content.rstrip().endswith(b"%%EOF")
    # A6 of ISO 216, 105 x 148 mm, in points of 1/72 inch
    left, low, right, high = map(
        float, re.search(rb"/MediaBox \[ ?([\d. ]+)\]", content)[1].split()
    )
    sides = sorted(((right - left) * 25.4 / 72, (high - low) * 25.4 / 72))
    assert sides == pytest.approx([105, 148], abs=0.1)


def test_a_picture_gives_the_target(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    room(page, "Aim")
    page.get_by_label("or one that is in the folder").click()
    page.get_by_role("option", name=re.compile("painting.jpg")).click()
    picture = page.locator(".photo img")
    picture.wait_for()
    page.wait_for_function("document.querySelector('.photo img').naturalWidth > 0")
    width = picture.evaluate("e => e.naturalWidth")
    scale = picture.bounding_box()["width"] / width
    picture.click(position={"x": 300 * scale, "y": 180 * scale})
    page.get_by_role("button", name=re.compile("^aim at #")).click()
    expect(page.get_by_text("changed, not saved")).to_be_visible()
    page.get_by_role("button", name="save").click()
    expect(page.get_by_text("as saved")).to_be_visible()
    target = tomllib.loads(path.read_text(encoding="utf-8"))["target"]
    # the picture was painted with the target that the demo's file states
    assert target["lab"] == pytest.approx([62, -38, 4], abs=3)
    assert_shows(page, answer(path))


# --------------------------------------------------------- nothing gets lost


def test_a_long_search_blocks_nothing_and_stops(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    room(page, "Fix")
    page.get_by_role("checkbox", name=re.compile("every other LED")).click()
    page.get_by_role("button", name="find what helps").click()
    expect(page.get_by_role("status").filter(has_text="...")).to_be_visible()
    room(page, "Build")
    page.get_by_role("button", name="more sea blue").click()
    five = path.read_text(encoding="utf-8").replace('"4 drops"', '"5 drops"')
    glow = page.locator(".viewing rect.glow")
    expect(glow).to_have_attribute("fill", answer(path, five)["glow_hex"])
    room(page, "Fix")
    page.get_by_role("button", name="stop").first.click()
    expect(page.get_by_text("stopped; nothing was changed")).to_be_visible()


def test_two_tabs_do_not_lose_each_others_work(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    one, two = visit(path), visit(path)
    one.get_by_role("button", name="more sea blue").click()
    expect(two.get_by_text("5 drops", exact=True)).to_be_visible()
    two.get_by_role("button", name="more straw").click()
    expect(one.get_by_text("3 drops", exact=True)).to_be_visible()
    one.get_by_role("button", name="save").click()
    expect(two.get_by_text("as saved")).to_be_visible()
    text = path.read_text(encoding="utf-8")
    assert '"5 drops"' in text
    assert '"3 drops"' in text


def test_a_file_changed_on_disk_is_asked_about(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    page.get_by_role("button", name="more sea blue").click()
    theirs = path.read_text(encoding="utf-8").replace('"9 mm"', '"8 mm"')
    path.write_text(theirs, encoding="utf-8")
    expect(page.get_by_text("was changed by another program")).to_be_visible()
    page.get_by_role("button", name="save", exact=True).click()
    page.get_by_role("button", name="save this one beside it").click()
    expect(page.get_by_text("as saved")).to_be_visible()
    assert path.read_text(encoding="utf-8") == theirs
    mine = path.with_name("tide-bell-2.toml").read_text(encoding="utf-8")
    assert '"5 drops"' in mine
    assert '"9 mm"' in mine


def test_a_broken_file_shows_its_line_and_the_last_good_state(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    good = shown(page)["glow_hex"]
    broken = path.read_text(encoding="utf-8").replace('"9 mm"', "9")
    path.write_text(broken, encoding="utf-8")
    line = broken[: broken.index("thickness")].count("\n") + 1
    expect(page.get_by_text("was changed by another program")).to_be_visible()
    page.get_by_role("button", name="save", exact=True).click()
    page.get_by_role("button", name="take the version on disk").click()
    expect(page.get_by_role("alert").first).to_contain_text(f"tide-bell.toml:{line}")
    assert shown(page)["glow_hex"] == good
    page.get_by_role("button", name="undo").click()
    expect(page.get_by_text("last good state")).to_have_count(0)


def test_a_broken_upload_says_what_to_do(visit, folder):
    page = visit(folder / "tide-bell/tide-bell.toml")
    room(page, "Aim")
    broken = b"\xff\xd8no picture"
    file = {"name": "art.jpg", "mimeType": "image/jpeg", "buffer": broken}
    page.locator("input[type=file]").first.set_input_files(file)
    expect(page.locator(".q-notification")).to_contain_text("art.jpg")
    assert not (folder / "tide-bell/pictures/art.jpg").exists()


# ------------------------------------------------------------- for everybody


NAMELESS = """() => [...document.querySelectorAll(
  'button, a[href], input, [role=slider], [role=combobox]')]
  .filter(e => e.offsetParent !== null && e.type !== 'file')
  .filter(e => !(e.getAttribute('aria-label') || e.textContent || '').trim()
    && !e.closest('label')?.textContent.trim() && !e.closest('[aria-label]'))
  .map(e => e.outerHTML.slice(0, 200))"""
SMALL = """() => [...document.querySelectorAll('button, summary, [role=slider]')]
  .filter(e => e.offsetParent !== null && !e.closest('.q-uploader'))
  .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 120)])
  .filter(([box]) => box.height > 0 && Math.min(box.height, box.width) < 44)
  .map(([box, text]) => `${box.width} x ${box.height} ${text}`)"""


def test_every_control_has_a_name_and_room_for_a_thumb(visit, folder):
    page = visit(folder / "tide-bell/tide-bell.toml")
    page.set_viewport_size({"width": 375, "height": 812})
    for name, title in (
        ("Build", "Its light"),
        ("Aim", "Near enough"),
        ("Fix", "Why it is off, and what helps"),
        ("Make", "The bench card"),
    ):
        room(page, name)
        page.get_by_role("heading", name=title, exact=True).wait_for()
        assert page.evaluate(NAMELESS) == [], name
        assert page.evaluate(SMALL) == [], name
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= 375, f"{name}: one column, nothing to scroll sideways"


def test_the_keyboard_alone_doses_and_saves(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    slider = page.get_by_role("slider", name="dose of sea blue")
    slider.focus()
    for drops in (5, 6):  # what the page repaints must not move the slider back
        page.keyboard.press("ArrowRight")
        expect(page.get_by_text(f"{drops} drops", exact=True)).to_be_visible()
        row = page.get_by_role("button", name=re.compile(f"{drops} drops sea blue"))
        expect(row).to_be_visible()
        expect(slider).to_have_value(f"{drops}")
    page.keyboard.press("Control+s")
    expect(page.get_by_text("as saved")).to_be_visible()
    assert '"6 drops"' in path.read_text(encoding="utf-8")


def luminance(colour):
    """Relative luminance, WCAG 2.2."""
    parts = [int(v) / 255 for v in re.findall(r"\d+", colour)[:3]]
    R, G, B = (
        v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts
    )
    return 0.2126 * R + 0.7152 * G + 0.0722 * B


def contrast(one, other):
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


TEXTS = """() => [...document.querySelectorAll('.page *')]
  .filter(e => e.offsetParent !== null && [...e.childNodes].some(
    n => n.nodeType === 3 && n.textContent.trim()))
  .filter(e => !e.closest('svg, [disabled], .off'))
  .map(e => {
    let back = e;
    while (back && getComputedStyle(back).backgroundColor.endsWith(', 0)'))
      back = back.parentElement;
    return [getComputedStyle(e).color,
      back ? getComputedStyle(back).backgroundColor : 'rgb(255, 255, 255)',
      e.textContent.trim().slice(0, 60)];
  })"""


def test_either_surround_is_neutral_and_its_text_has_the_contrast_of_aa(visit, folder):
    page = visit(folder / "tide-bell/tide-bell.toml")
    page.get_by_text("could be #").wait_for(timeout=SLOW)
    found = [_lightness(page)]
    page.get_by_role("button", name="dark surround").click()
    page.wait_for_selector("html.surround-dark")
    found.append(_lightness(page))
    # Munsell N7 and N5, L* about 70 and 50 of CIE 15
    assert found == pytest.approx([70, 50], abs=1)


def _lightness(page):
    """L* of what is around the swatches, after a look at all text of the page."""
    texts = page.evaluate(TEXTS)
    assert len(texts) > 40
    assert [row for row in texts if contrast(row[0], row[1]) < 4.5] == []
    grey = "e => getComputedStyle(e).backgroundColor"
    colour = page.locator(".viewing").evaluate(grey)
    red, green, blue = re.findall(r"\d+", colour)[:3]
    assert red == green == blue
    return 116 * luminance(colour) ** (1 / 3) - 16


# ------------------------------------------------------------------- picture


def test_the_picture_of_the_readme(visit, folder, tmp_path):
    page = visit(folder / "tide-bell/tide-bell.toml")
    page.set_viewport_size({"width": 1240, "height": 980})
    page.get_by_text("could be #").wait_for(timeout=SLOW)
    page.mouse.move(0, 0)
    file = tmp_path / "page.png"
    page.screenshot(path=file)
    assert file.read_bytes().startswith(b"\x89PNG")
    assert 20_000 < file.stat().st_size < 250_000
    if os.environ.get(PICTURE):
        shutil.copy(file, DEMO / "tide-bell/page.png")


# ------------------------------------------------------------- the whole folder


def test_a_new_piece_is_begun_and_a_taken_name_is_told(context, server, demos):
    seen = watched(context.new_page())
    page = seen.page
    for _ in range(2):
        page.goto(server.address.split("/?")[0] + "/list")
        page.get_by_label("its name").fill("Moth lamp")
        page.get_by_role("button", name="begin").click()
        page.locator("#difference, .q-notification").first.wait_for(timeout=SLOW)
    expect(page.locator(".q-notification")).to_contain_text("choose another name")
    assert answer(demos / "Moth lamp.toml")["name"] == "Moth lamp"
    assert seen.errors == []
    assert seen.hosts == {"127.0.0.1"}


def test_the_text_can_be_mended_by_hand(visit, folder):
    path = folder / "tide-bell/tide-bell.toml"
    page = visit(path)
    page.get_by_role("button", name="file").click()
    text = page.get_by_label("the text of tide-bell.toml")
    whole = text.input_value()
    assert whole == path.read_text(encoding="utf-8")
    text.fill(whole.replace("[[light]]", "[[light", 1))
    page.get_by_role("button", name="take this text").click()
    line = whole[: whole.index("[[light]]")].count("\n") + 1
    expect(page.get_by_role("alert").first).to_contain_text(f"tide-bell.toml:{line}")
    text = page.get_by_label("the text of tide-bell.toml")
    text.fill(whole.replace('"4 drops"', '"5 drops"'))
    page.get_by_role("button", name="take this text").click()
    expect(page.get_by_text("5 drops", exact=True)).to_be_visible()
    expect(page.get_by_role("alert")).to_have_count(0)
