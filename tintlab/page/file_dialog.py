"""The file behind the page: its text, its names, the command that says the same."""

from nicegui import ui

from tintlab.page import answers
from tintlab.page.controls import drawn, press, tag
from tintlab.page.tab import Tab


def file_dialog(tab: Tab) -> None:
    """Open what can be done with the file itself."""
    with ui.dialog() as dialog, tag("div", "shelf"):
        with tag("div", "line"):
            with tag("div", "grow"):
                tag("h2", "", tab.book.path.name)
            press("close", dialog.close)
        drawn(answers.command(tab.book.command("glow")))
        with tag("div", "line"):
            name = ui.input(label="under another name", value=tab.book.path.stem)
            name.props("outlined dense").classes("grow")
            press("save as", lambda: _save_as(tab, str(name.value)))
        with tag("div", "line"):
            press("read it again from disk", lambda: tab.change(tab.book.reload))
        mend(tab, then=dialog.close)
    dialog.value = True


def mend(tab: Tab, *, then: object = None) -> None:
    """Lay out the whole text, to be changed by hand."""
    tag("h3", "", "its text")
    text = ui.textarea(value=tab.book.text).props("outlined autogrow spellcheck=false")
    text.classes("text").props["aria-label"] = f"the text of {tab.book.path.name}"

    def take() -> None:
        if callable(then):
            then()
        tab.change(lambda: tab.book.rewrite(str(text.value)))

    press("take this text", take, kind="main")


def _save_as(tab: Tab, name: str) -> None:
    folder, root = tab.book.path.parent, tab.book.folder.root
    beside = (folder.relative_to(root) / name).as_posix()
    tab.change(lambda: tab.book.save_as(beside))
    tab.refresh_top()


def readable(tab: Tab) -> bool:
    """Tell whether the text has lights and layers that the rooms can lay out."""
    lights, layers = tab.book.get(("light",)), tab.book.get(("layer",), [])
    tables = (lights, layers)
    return all(
        isinstance(table, list) and all(isinstance(one, dict) for one in table)
        for table in tables
    ) and bool(lights)
