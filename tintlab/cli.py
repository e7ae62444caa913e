"""The command line: arguments in, calls, prints; no arithmetic.

Modules that need numpy are imported inside the commands, so that help comes at once.
"""

from enum import IntEnum
from pathlib import Path
from typing import Any

import click

from tintlab import __version__
from tintlab.cli_card import card
from tintlab.cli_chip import aim, chip
from tintlab.cli_page import page
from tintlab.cli_parts import (
    CONTEXT,
    FILE,
    draw,
    json_option,
    plot_option,
    progress,
    say,
    shelf_option,
)
from tintlab.cli_proof import proof
from tintlab.cli_shelf import shelf
from tintlab.errors import OutOfReach, TintlabError


class Status(IntEnum):
    """Exit statuses; click itself exits with 2 for a wrong command line."""

    FINE = 0
    MISTAKE = 1
    OUT_OF_REACH = 3


class Group(click.Group):
    """A group that turns our errors into one line and a status."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; never show a traceback for a maker's mistake."""
        try:
            return super().invoke(ctx)
        except OutOfReach as problem:
            progress("done")
            click.echo(f"Out of reach: {problem}", err=True)
            ctx.exit(Status.OUT_OF_REACH)
        except TintlabError as problem:
            click.echo(f"Error: {problem}", err=True)
            ctx.exit(Status.MISTAKE)
        except KeyboardInterrupt:
            click.echo("stopped; nothing was written", err=True)
            ctx.exit(130)


@click.group(cls=Group, context_settings=CONTEXT)
@click.version_option(__version__, prog_name="tintlab")
def main() -> None:
    """Predict the colour of lit, dyed, clear insets before the pour."""


main.add_command(aim)
main.add_command(card)
main.add_command(chip)
main.add_command(page)
main.add_command(proof)
main.add_command(shelf)


def _battery(prediction: Any, shelf: Any) -> Any:
    """Return what the battery of a file makes of it, or None."""
    if not prediction.inset.battery:
        return None
    from tintlab.power import read_supply
    from tintlab.report.powering import battery_answer

    return battery_answer(prediction, read_supply(prediction.inset, shelf))


@main.command()
@click.argument("file", type=FILE)
@click.option("--room", metavar="NAME", help="Instead of the room in the file.")
@click.option("--rooms", is_flag=True, help="In every room of the shelf.")
@click.option(
    "--white",
    type=click.Choice(["d65", "room"]),
    default="d65",
    help="White of the colours: daylight or the room's own.",
)
@click.option("--more", is_flag=True, help="Other observers and colour appearance.")
@click.option("--map", "face", type=FILE, metavar="PNG", help="Draw the whole face.")
@plot_option
@json_option
@shelf_option
def glow(
    file: Path,
    room: str | None,
    rooms: bool,
    white: str,
    more: bool,
    face: Path | None,
    plot: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Predict how an inset looks, lit and unlit.

    FILE is an inset file: lights, box, layers, target.

    Example:

        tintlab glow demo/tide-bell/tide-bell.toml --plot tide-bell.png
    """
    from tintlab.inset import keep_inputs, read_inset
    from tintlab.report import data, facing, text
    from tintlab.shelf import shelf_for
    from tintlab.verdict import predict

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    for output in (plot, face):
        if output is not None:
            keep_inputs(inset, output)
    chosen = [shelf.find("rooms", room)] if room else [inset.room]
    if rooms:
        chosen = shelf.all("rooms")
    found = [predict(inset, room=one) for one in chosen]
    faces = [None if rooms else facing.face_answer(one) for one in found]
    answers = [
        data.flat(one, _battery(one, shelf), over)
        for one, over in zip(found, faces, strict=True)
    ]
    extras = []
    if white == "room" or more:
        from tintlab.report import appearance

        extras = [appearance.extra(one, more=more) for one in found]
        for answer, extra in zip(answers, extras, strict=True):
            answer.update(extra)
    if plot is not None:
        from tintlab.report.plot import glow_figure

        draw(glow_figure(found[0], answers[0]), plot)
    if face is not None:
        from tintlab.report.facemap import face_figure

        over = faces[0] or facing.face_answer(found[0])
        draw(face_figure(found[0], answers[0], over), face)
    if as_json:
        say(data.as_json(answers if rooms else answers[0]))
    elif rooms:
        say(text.rooms_text(answers))
    else:
        say(text.glow_text(answers[0]))
        for extra in extras:
            say("\n" + text.extra_text(extra))


@main.command()
@click.argument("file", type=FILE)
@click.option(
    "--bottle",
    "named",
    multiple=True,
    metavar="NAME",
    help="Choose from these bottles only. May be given more than once.",
)
@click.option(
    "--all",
    "every",
    is_flag=True,
    help="Also the shelf's generic bottles, besides your own.",
)
@click.option("--layer", type=int, metavar="N", help="Which layer to dose, from 1.")
@click.option(
    "--scale",
    default="0.1 g",
    metavar="STEP",
    show_default=True,
    help="Smallest step of your scale.",
)
@plot_option
@json_option
@shelf_option
def dose(
    file: Path,
    named: tuple[str, ...],
    every: bool,
    layer: int | None,
    scale: str,
    plot: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Find how much of which bottle reaches the target.

    Up to three bottles, as whole drops, weighed, or let down; for a sheet, minutes in
    the bath. The doses in the file do not matter.

    Example:

        tintlab dose demo/tide-bell/tide-bell.toml
    """
    from tintlab.inset import read_inset
    from tintlab.report import data, dosing
    from tintlab.shelf import shelf_for
    from tintlab.solve.dose import candidates, doses
    from tintlab.units import MASSES, quantity

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    bottles = [shelf.find("bottles", name) for name in named]
    if not bottles:
        bottles = candidates(inset, shelf.own_first("bottles", every=every))
    found = doses(
        inset,
        bottles,
        layer=None if layer is None else layer - 1,
        scale=quantity(scale, MASSES, example="0.1 g"),
        progress=progress,
    )
    progress("done")
    answer = dosing.dose_answer(found)
    if plot is not None:
        from tintlab.report.plot import glow_figure
        from tintlab.verdict import predict

        taken = predict(found.recipes[0].inset)
        draw(glow_figure(taken, data.flat(taken)), plot)
    say(data.as_json(answer) if as_json else dosing.dose_text(answer))
    _unreached(found.recipes[0].difference, inset)


def _unreached(difference: float, inset: Any) -> None:
    """Exit with 3 when even the best answer misses the target."""
    limit = 0.0 if inset.target.region else inset.target.tolerance
    if difference > limit:
        raise OutOfReach(
            f"the nearest is a difference of {difference:.3g}, the tolerance is "
            f'{limit:g}; "tintlab reach" tells whether any dye could do it'
        )


@main.command()
@click.argument("a", type=FILE)
@click.argument("b", type=FILE)
@plot_option
@json_option
@shelf_option
def twin(
    a: Path,
    b: Path,
    plot: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Tell whether two pieces look the same, why not, and the dose that matches.

    A and B are inset files; both are seen in the room of A.

    Example:

        tintlab twin demo/kiln-mask/ember-thin.toml demo/kiln-mask/ember-thick.toml
    """
    from tintlab.inset import read_inset
    from tintlab.report import data, dosing
    from tintlab.shelf import shelf_for
    from tintlab.solve.twin import twin as compared

    pair = [read_inset(path, shelf_for(path, own_shelf)) for path in (a, b)]
    found = compared(*pair)
    answer = dosing.twin_answer(found)
    if plot is not None:
        from tintlab.report.charts import twin_figure

        draw(twin_figure(answer, found.a.radiance, found.b.radiance), plot)
    say(data.as_json(answer) if as_json else dosing.twin_text(answer))


@main.command()
@click.argument("file", type=FILE)
@click.option(
    "--ink", "named", multiple=True, metavar="NAME", help="Choose from these inks only."
)
@click.option("--all", "every", is_flag=True, help="Also the shelf's generic inks.")
@click.option("--leds", is_flag=True, help="Also try every other LED of the shelf.")
@click.option(
    "--led", "emitters", multiple=True, metavar="NAME", help="Also try this LED."
)
@click.option(
    "--side",
    type=click.Choice(["led", "viewer", "both"]),
    default="both",
    show_default=True,
    help="Where coats may go.",
)
@click.option(
    "--inks",
    "most_inks",
    type=click.IntRange(1, 4),
    default=3,
    show_default=True,
    help="Different inks in one combination.",
)
@plot_option
@json_option
@shelf_option
def trim(
    file: Path,
    named: tuple[str, ...],
    every: bool,
    leds: bool,
    emitters: tuple[str, ...],
    side: str,
    most_inks: int,
    plot: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Find the least correction of a finished piece.

    Coats of ink on the LEDs or on the face, another LED, or another pour. What you saw
    of the piece goes into [seen] of the file and is reckoned with first.

    Example:

        tintlab trim demo/tide-bell/cast-too-dark.toml
    """
    from tintlab.inset import read_inset
    from tintlab.piece import piece_of
    from tintlab.report import advice, data
    from tintlab.shelf import shelf_for
    from tintlab.solve.dose import pour_again
    from tintlab.solve.seen import find_out
    from tintlab.solve.trim import trim as trimmed

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    inks = [shelf.find("inks", name) for name in named]
    others = [shelf.find("emitters", name) for name in emitters]
    if leds:
        here = {light.emitter.name for light in inset.lights}
        others += [e for e in shelf.all("emitters") if e.name not in here]
    piece = piece_of(inset)
    finding = find_out(inset, piece, shelf) if inset.seen else None
    if finding is not None:
        piece = finding.piece
    found = trimmed(
        inset,
        piece,
        inks or shelf.own_first("inks", every=every),
        emitters=others,
        sides=("led", "viewer") if side == "both" else (side,),
        most_inks=most_inks,
        progress=progress,
    )
    progress("pouring again")
    again = pour_again(inset, {} if finding is None else finding.strengths)
    progress("done")
    answer = advice.trim_answer(inset, found, finding, again)
    if plot is not None:
        from tintlab.report.charts import trim_figure

        draw(trim_figure(answer, advice.shown(found.fixes[0].before, inset)), plot)
    say(data.as_json(answer) if as_json else advice.trim_text(answer))
    nearest = [fix.choice.difference for fix in found.fixes]
    nearest += [] if again is None else [again.recipes[0].difference]
    _unreached(min(nearest), inset)


@main.command()
@click.argument("file", type=FILE)
@click.option(
    "--points", default=50, show_default=True, help="Shares of light on the curve."
)
@plot_option
@json_option
@shelf_option
def reach(
    file: Path,
    points: int,
    plot: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Tell what no dye and no film could do with this LED.

    A certified limit for every share of light kept, the filter that attains it, and
    what the bottles of the shelf do below it.

    Example:

        tintlab reach demo/tide-bell/tide-bell.toml
    """
    from tintlab.inset import read_inset
    from tintlab.report import advice, data
    from tintlab.shelf import shelf_for
    from tintlab.solve import limits

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    found = limits.limits(inset, shelf, points=points, progress=progress)
    progress("done")
    answer = advice.reach_answer(inset, found)
    if plot is not None:
        from tintlab.report.charts import reach_figure

        draw(reach_figure(answer, found.curves, found.light), plot)
    say(data.as_json(answer) if as_json else advice.reach_text(answer))
    if inset.target is not None:
        _unreached(found.curves[inset.target.lightness].best.low, inset)
