"""The command `proof`: the lit piece in a photo and in its rooms.

Like `tintlab.cli`: arguments in, calls, prints; no arithmetic; modules that need numpy
are imported inside the command.
"""

import re
from pathlib import Path

import click

from tintlab.cli_parts import CONTEXT, FILE, json_option, progress, say, shelf_option
from tintlab.errors import InsetError


class Balance(click.ParamType):
    """A white balance: room, auto, or a colour temperature such as 4500K."""

    name = "balance"

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> str | float:
        """Read it."""
        if value in ("room", "auto"):
            return value
        found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*K?\s*", value, re.IGNORECASE)
        if not found:
            self.fail(f'"{value}" is neither room, auto nor like 4500K', param, ctx)
        return float(found.group(1))


@click.command(context_settings=CONTEXT)
@click.argument("file", type=FILE)
@click.option("--photo", type=FILE, metavar="PICTURE", help="Your photo of the prop.")
@click.option(
    "--inset",
    "marks",
    multiple=True,
    metavar="WHERE",
    help="Corners of the inset in the photo, its upper left first, as "
    '"120,80 300,90 310,240 115,230", or a mask picture, white where it is. May be '
    "given more than once.",
)
@click.option(
    "--lit/--unlit", default=False, help="What the photo shows; unlit unless given."
)
@click.option("--room", metavar="NAME", help="Instead of the room in the file.")
@click.option(
    "--exposure",
    type=click.FloatRange(-12, 6),
    metavar="STOPS",
    help="Of the phone, against the photo; as a meter would unless given.",
)
@click.option(
    "--balance",
    type=Balance(),
    default="room",
    show_default=True,
    metavar="WHITE",
    help="White balance of the phone: room, auto, or like 4500K.",
)
@click.option(
    "-o",
    "--output",
    type=FILE,
    default=".",
    metavar="WHERE",
    help="A folder, or a name: NAME-eye.jpg and NAME-phone.jpg are written.",
)
@click.option(
    "--pair", type=FILE, metavar="PICTURE", help="Also a small picture of the two."
)
@click.option(
    "--rooms", type=FILE, metavar="PNG", help="Draw the piece in its rooms, no photo."
)
@json_option
@shelf_option
def proof(
    file: Path,
    photo: Path | None,
    marks: tuple[str, ...],
    lit: bool,
    room: str | None,
    exposure: float | None,
    balance: str | float,
    output: Path,
    pair: Path | None,
    rooms: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Show the lit piece in your photo, as an eye and as a phone see it.

    FILE is the inset file. The photo keeps its size and its metadata; both pictures
    are marked as simulated. The exposure card says how far to step down so that the
    glow keeps its colour.

    Example:

        tintlab proof demo/tide-bell/tide-bell.toml --photo demo/tide-bell/prop.jpg --inset demo/tide-bell/window.png
    """  # noqa: E501  a line to paste
    if photo is None and rooms is None:
        raise click.UsageError("give --photo with --inset, or --rooms")
    if photo is not None and rooms is not None:
        raise click.UsageError("give either --photo or --rooms")
    if exposure is not None and not -12 <= exposure <= 6:
        raise click.UsageError("--exposure takes a number of stops, as --exposure -4")
    if photo is not None and not marks:
        raise click.UsageError("say with --inset where the inset is in the photo")
    from tintlab.inset import read_inset
    from tintlab.shelf import shelf_for

    shelf = shelf_for(file, own_shelf)
    inset = read_inset(file, shelf)
    if rooms is not None:
        from tintlab.report import data, strips

        if rooms.exists() and rooms.samefile(file):
            raise InsetError(f'writing "{rooms}" would destroy the inset file')
        shown = strips.draw_strip(inset, shelf, rooms, progress=progress)
        progress("done")
        say(data.as_json(shown) if as_json else strips.strip_text(shown))
        click.echo(f"wrote {rooms}", err=True)
    if photo is None:
        return
    from tintlab.proof.photo_proof import make
    from tintlab.proof.photo_scene import Wish
    from tintlab.report import data, proofs

    wish = Wish(
        room=shelf.find("rooms", room) if room else inset.room,
        lit=lit,
        exposure=exposure,
        balance=balance,
    )
    made = make(
        inset,
        wish,
        photo=photo,
        marks=marks,
        where=output,
        pair=pair,
        inputs=[file],
        progress=progress,
    )
    progress("done")
    answer = proofs.proof_answer(inset.name, made.scene, made.card, made.files)
    say(data.as_json(answer) if as_json else proofs.proof_text(answer))
