"""The commands about materials: `shelf`.

Like `tintlab.cli`: arguments in, calls, prints; no arithmetic; modules that need numpy
are imported inside the commands.
"""

from pathlib import Path

import click

from tintlab.cli_parts import CONTEXT, FILE, draw, json_option, say, shelf_option


@click.group(context_settings=CONTEXT)
def shelf() -> None:
    """List, search and show the materials on the shelf.

    Example:

        tintlab shelf show "crystal violet"
    """


@shelf.command("list")
@click.argument("kind", required=False)
@shelf_option
@json_option
def shelf_list(kind: str | None, own_shelf: tuple[Path, ...], as_json: bool) -> None:
    """List the kinds of material, or everything of one KIND.

    Example:

        tintlab shelf list emitters
    """
    from tintlab.report import data, shelves
    from tintlab.shelf import shelf_for

    rows = shelves.listing(shelf_for(None, own_shelf), kind)
    say(data.as_json(rows) if as_json else shelves.table_text(rows))


@shelf.command("search")
@click.argument("words", nargs=-1, required=True)
@shelf_option
def shelf_search(words: tuple[str, ...], own_shelf: tuple[Path, ...]) -> None:
    """Find materials by words in their name, hue, class or source.

    Example:

        tintlab shelf search violet
    """
    from tintlab.report import shelves
    from tintlab.shelf import shelf_for

    say(shelves.table_text(shelves.search(shelf_for(None, own_shelf), words)))


@shelf.command("show")
@click.argument("name")
@click.option("--kind", metavar="KIND", help="When the name is in several kinds.")
@click.option("--plot", type=FILE, metavar="PNG", help="Draw its spectrum.")
@shelf_option
@json_option
def shelf_show(
    name: str,
    kind: str | None,
    plot: Path | None,
    own_shelf: tuple[Path, ...],
    as_json: bool,
) -> None:
    """Show one material: swatch, numbers, source and grade of evidence.

    Example:

        tintlab shelf show "crystal violet"
    """
    from tintlab.report import data, shelves
    from tintlab.shelf import shelf_for

    material = shelves.by_name(shelf_for(None, own_shelf), name, kind)
    if plot is not None:
        from tintlab.report.plot import material_figure

        draw(material_figure(material), plot)
    facts = shelves.facts(material)
    say(data.as_json(facts) if as_json else shelves.facts_text(facts))
