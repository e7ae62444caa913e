"""The command `page`: the whole job in a browser, on this computer.

Like `tintlab.cli`: arguments in, calls, prints; what needs numpy or NiceGUI is imported
inside the command.
"""

import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tintlab.cli_parts import shelf_option
from tintlab.errors import PageError

if TYPE_CHECKING:
    from tintlab.page.server import Opened

NEEDED = ("tomlkit", "segno", "nicegui")  # the slow one last
LAN = """\
Opening the page to your network.
  - Everyone in the same Wi-Fi who has the code or its address can read and change
    the inset files of this folder while this program runs.
  - The connection is not encrypted: do this in your own Wi-Fi or your phone's
    hotspot, not in a café, a school or a convention hall.
  - It ends when you stop this program.
"""
NOT_FOUND = """\
If the phone finds nothing there: is it in the same Wi-Fi, or does a VPN or a firewall
on this computer keep it out?
"""


@click.command()
@click.argument(
    "file", metavar="[FILE or FOLDER]", type=click.Path(path_type=Path), default="."
)
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=0,
    metavar="N",
    help="Port to listen at; a free one when left out.",
)
@click.option("--no-open", is_flag=True, help="Print the address, open no browser.")
@click.option("--lan", is_flag=True, help="Let a phone in the same network in; asks.")
@shelf_option
def page(
    file: Path, port: int, no_open: bool, lan: bool, own_shelf: tuple[Path, ...]
) -> None:
    """Do the whole job on a page in your browser, on this computer only.

    FILE is an inset file; of a FOLDER, the page lists its inset files. Nothing is sent
    out of this computer. Press Ctrl-C to stop.

    Example:

        tintlab page demo/tide-bell
    """
    _needs_nicegui()
    from tintlab.page.book import open_books

    books = open_books(file, own_shelf)
    network = _network() if lan else None
    from tintlab.page.server import serve, show

    def ready(opened: "Opened") -> None:
        click.echo(f"The page is open at\n\n  {opened.address}\n")
        if opened.phone is not None:
            _show_code(opened.phone)
        click.echo("Press Ctrl-C here to stop it.")
        if not no_open:
            show(opened.once, lambda: click.echo("No browser found; open it yourself."))

    unsaved = serve(books, port=port, lan=network, ready=ready)
    click.echo("\nstopped", err=True)
    for book in unsaved:
        click.echo(_not_saved(book.path.name, kept=book.keep_unsaved()), err=True)


def _needs_nicegui() -> None:
    try:
        for name in NEEDED:
            import_module(name)
    except ImportError as missing:
        raise PageError(
            f"the page needs {missing.name}, which is not installed; install it with: "
            "pip install 'tintlab[page]'"
        ) from None


def _network() -> str | None:
    """Ask before the page is opened to the network; None when the maker says no."""
    from tintlab.page.lan import own_address

    address = own_address()
    click.echo(LAN)
    if not _asks():
        raise PageError(
            "--lan asks a question first, and there is no terminal to answer it in; "
            "start it from one, or leave --lan out"
        )
    if click.confirm(f"Open it at {address}?", default=False):
        return address
    click.echo("It stays on this computer.")
    return None


def _asks() -> bool:
    """Tell whether somebody can answer; a pipe may not say yes."""
    return sys.stdin.isatty()


def _show_code(address: str) -> None:
    from tintlab.page.lan import code

    try:
        click.echo(f"Scan this with the phone:\n\n{code(address)}")
    except UnicodeEncodeError:
        click.echo("This terminal cannot show a code; type the address:")
    click.echo(f"\n  {address}\n\n{NOT_FOUND}")


def _not_saved(name: str, *, kept: bool) -> str:
    if kept:
        return (
            f"{name} has changes that were not saved; they are kept beside it as "
            f"{name}.unsaved and come back when the page opens it again"
        )
    return f"{name} has changes that were not saved and could not be kept"
