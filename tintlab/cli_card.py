"""The bench card on the command line: arguments in, calls, prints; no arithmetic."""

from pathlib import Path
from typing import Any

import click

from tintlab.cli_parts import CONTEXT, FILE, json_option, shelf_option


@click.command(context_settings=CONTEXT)
@click.argument("files", type=FILE, nargs=-1, required=True, metavar="FILE...")
@click.option(
    "-o",
    "--output",
    type=FILE,
    default="card.pdf",
    show_default=True,
    metavar="PDF",
    help="Where to; a name that ends in .png gives a picture.",
)
@click.option(
    "--size",
    type=click.Choice(["a6", "half-letter"]),
    default="a6",
    show_default=True,
    help="Of one card: A6 has two sides, half-letter one.",
)
@click.option(
    "--sheet",
    type=click.Choice(["a4", "letter"]),
    help="Several cards on a sheet, to cut and fold.",
)
@click.option("--room", metavar="NAME", help="Instead of the room in the file.")
@click.option(
    "--scale",
    default="0.1 g",
    metavar="STEP",
    show_default=True,
    help="Smallest step of your scale.",
)
@click.option("--date", metavar="DATE", help="As 2026-11-25; today unless given.")
@json_option
@shelf_option
def card(
    files: tuple[Path, ...],
    output: Path,
    size: str,
    sheet: str | None,
    room: str | None,
    scale: str,
    date: str | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Print a bench card: what to do, what to expect, what came out.

    Each FILE is an inset file. A6 cards have a front and a back; on a sheet these
    stand side by side: cut, then fold.

    Example:

        tintlab card demo/tide-bell/tide-bell.toml -o card.pdf
    """
    from tintlab.report import card_draw, card_layout, data
    from tintlab.report.card import day

    today = day(date)
    card_draw.check(output, inputs=files)
    answers = [_answer(f, own_shelf, room, scale, today) for f in files]
    measure = card_draw.measure
    cards = [card_layout.panels(answer, size, measure) for answer in answers]
    picture = output.suffix.lower() == ".png" and sheet is None
    if sheet is not None:
        pages = card_layout.sheets(cards, size, sheet)
    elif picture:
        pages = card_layout.side_by_side(cards, size)
    else:
        pages = card_layout.single(cards, size)
    card_draw.write(pages, output, date=today)
    click.echo(f"wrote {output}", err=True)
    if as_json:
        click.echo(data.as_json(answers))


def _answer(
    file: Path, own_shelf: tuple[Path, ...], room: str | None, scale: str, today: str
) -> dict[str, Any]:
    """Return what stands on the card of one inset file."""
    from tintlab.inset import read_inset
    from tintlab.power import read_supply
    from tintlab.report.card import card_answer
    from tintlab.report.powering import battery_answer
    from tintlab.shelf import shelf_for
    from tintlab.units import MASSES, quantity
    from tintlab.verdict import predict

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    found = predict(inset, room=shelf.find("rooms", room) if room else None)
    return card_answer(
        found,
        date=today,
        scale=quantity(scale, MASSES, example="0.1 g"),
        battery=battery_answer(found, read_supply(inset, shelf)),
    )
