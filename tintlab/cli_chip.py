"""The commands about test chips and reference art: `chip` and `aim`.

Like `tintlab.cli`: arguments in, calls, prints; no arithmetic; modules that need numpy
are imported inside the commands.
"""

from pathlib import Path

import click

from tintlab.cli_parts import CONTEXT, FILE, json_option, say, shelf_option
from tintlab.errors import InsetError


@click.group(context_settings=CONTEXT)
def chip() -> None:
    """Plan test chips, read their photo, learn from them.

    Example:

        tintlab chip read demo/tide-bell/art/chips.jpg --blank 150,240 --blank 850,240 --chip "blue=500,240"
    """  # noqa: E501  a line to paste


@chip.command("plan")
@click.argument("file", type=FILE)
@click.option(
    "--batch", default="20 g", show_default=True, help="Resin mixed for one chip."
)
@click.option(
    "--thickness", default="3 mm", show_default=True, help="Of the chip mould."
)
@click.option(
    "--most",
    type=click.IntRange(1, 8),
    default=4,
    show_default=True,
    help="Chips at the most.",
)
@click.option(
    "--write", type=FILE, metavar="TOML", help="Write the chips file to fill in."
)
@json_option
@shelf_option
def chip_plan(
    file: Path,
    batch: str,
    thickness: str,
    most: int,
    write: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Say which test chips would teach most about the colour you want.

    FILE is the inset file. Of a grid of doses those are taken whose reading by a camera
    narrows the spread of this glow most; one chip more only if it is worth it.

    Example:

        tintlab chip plan demo/tide-bell/tide-bell.toml
    """
    from tintlab import units
    from tintlab.chips.keep import write_new
    from tintlab.chips.plan import plan
    from tintlab.inset import read_inset
    from tintlab.report import chipping, data
    from tintlab.shelf import shelf_for

    grams = units.quantity(batch, units.MASSES, example="20 g")
    depth = units.quantity(thickness, units.LENGTHS, example="3 mm")
    inset = read_inset(file, shelf_for(file, own_shelf))
    advice = plan(inset, batch=grams, thickness=depth, most=most)
    answer = chipping.plan_answer(advice, batch=grams)
    if write is not None:
        write_new(write, chipping.chips_file(answer, advice))
        click.echo(f"wrote {write}", err=True)
    say(data.as_json(answer) if as_json else chipping.plan_text(answer))


@chip.command("read")
@click.argument("photo", type=FILE)
@click.option(
    "--marks", "marks_file", type=FILE, metavar="TOML", help="Where the patches are."
)
@click.option(
    "--blank",
    "blanks",
    multiple=True,
    metavar="PATCH",
    help="The undyed chip: x,y or x,y,radius or left,top,width,height in pixels. Give "
    "one on either side to take out vignetting.",
)
@click.option(
    "--chip",
    "chips",
    multiple=True,
    metavar="NAME=PATCH",
    help='A dyed chip, as "2 drops=300,200".',
)
@click.option(
    "--known",
    multiple=True,
    metavar="RATIO=PATCH",
    help="A patch of known light against the blank, 0.25=500,200: checks the tones.",
)
@click.option("--dark", metavar="PATCH", help="An opaque patch: shows the stray light.")
@click.option(
    "--second", type=FILE, metavar="PHOTO", help="The same scene, two stops shorter."
)
@click.option(
    "--ratio",
    type=click.FloatRange(0.001, 1000),
    metavar="X",
    help="Exposure of the second photo over the first, when its EXIF does not say; or "
    "light, when the LED was moved away: 0.25 at twice the distance.",
)
@click.option(
    "--flat", type=FILE, metavar="PHOTO", help="The lit diffuser alone, same settings."
)
@json_option
def chip_read(
    photo: Path,
    marks_file: Path | None,
    blanks: tuple[str, ...],
    chips: tuple[str, ...],
    known: tuple[str, ...],
    dark: str | None,
    second: Path | None,
    ratio: float | None,
    flat: Path | None,
    as_json: bool,
) -> None:
    """Read how much light each chip passes, against the blank.

    PHOTO shows the blank beside the chips over one light: camera raw, or JPEG, PNG,
    TIFF with exposure and white balance locked and nothing clipped. Pixels count from
    the upper left. Marks may stand in a small TOML file instead: [[blank]] at = [x, y];
    [[chip]] name = "...", at = [x, y], radius = 30 or box = [left, top, width, height].

    Example:

        tintlab chip read demo/tide-bell/art/chips.jpg --blank 150,240 --blank 850,240 --chip "blue=500,240"
    """  # noqa: E501  a line to paste
    from tintlab.chips.photo import read_photo
    from tintlab.chips.photo_marks import marks_of
    from tintlab.report import chipping_photo, data

    marks = marks_of(marks_file, blanks=blanks, chips=chips, known=known, dark=dark)
    found = read_photo(photo, marks=marks, second=second, flat=flat, ratio=ratio)
    answer = chipping_photo.readings_answer(found)
    say(data.as_json(answer) if as_json else chipping_photo.readings_text(answer))


@chip.command("led")
@click.argument("photo", type=FILE, required=False)
@click.option(
    "--at",
    metavar="PATCH",
    help="The card: x,y or x,y,radius or left,top,width,height in pixels.",
)
@click.option("--peak", type=float, metavar="NM", help="Peak wavelength, data sheet.")
@click.option("--dominant", type=float, metavar="NM", help="Dominant wavelength.")
@click.option("--kelvin", type=float, metavar="K", help="Colour temperature.")
@click.option("--keep", metavar="NAME", help="Put it on your shelf by this name.")
@click.option(
    "--into",
    type=FILE,
    metavar="DIR",
    help="The shelf to write to; shelf/ beside the photo, unless given.",
)
@json_option
@shelf_option
def chip_led(
    photo: Path | None,
    at: str | None,
    peak: float | None,
    dominant: float | None,
    kelvin: float | None,
    keep: str | None,
    into: Path | None,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Tell which light of the shelf a bare LED on a white card resembles.

    PHOTO shows the card lit by the LED alone, white balance locked to daylight. The
    data sheet's nm or K is better; with it no photo is needed. --keep makes a light of
    your own of what is known, and adds to it when it is there already.

    Example:

        tintlab chip led demo/tide-bell/art/card.jpg --at 200,150,60
    """
    from datetime import datetime

    from tintlab.chips import keep as shelving
    from tintlab.chips.lights import sheet_of
    from tintlab.chips.photo_emitter import read_emitter
    from tintlab.chips.photo_marks import parse_mark
    from tintlab.report import chipping_photo, data
    from tintlab.shelf import shelf_for

    if (photo is None) != (at is None):
        raise click.UsageError("a photo and --at belong together: the card in it")
    shelf = shelf_for(photo, own_shelf)
    lights = shelving.borrowable(shelf)
    today = datetime.now().astimezone().date().isoformat()
    told = sheet_of(peak=peak, dominant=dominant, kelvin=kelvin, date=today)
    found = None
    if photo is not None and at is not None:
        mark = parse_mark(at, name="the card")
        found = read_emitter(photo, at=mark, emitters=lights)
    kept = shelving.kept_light(
        keep,
        found,
        told,
        photo=photo,
        date=today,
        folder=into or shelving.found_shelf(photo or Path("led"), own_shelf),
        shelf=shelf,
        lights=lights,
    )
    answer = chipping_photo.emitter_answer(found, kept)
    say(data.as_json(answer) if as_json else chipping_photo.emitter_text(answer))


@chip.command("learn")
@click.argument("file", type=FILE)
@click.option("--keep", is_flag=True, help="Write what was learned to your shelf.")
@click.option(
    "--into",
    type=FILE,
    metavar="DIR",
    help="The shelf to write to; the one that the bottle is on, unless given.",
)
@click.option(
    "--anyway", is_flag=True, help="Keep chips that do not fit, with a wider spread."
)
@json_option
@shelf_option
def chip_learn(
    file: Path,
    keep: bool,
    into: Path | None,
    anyway: bool,
    as_json: bool,
    own_shelf: tuple[Path, ...],
) -> None:
    """Learn the real strength of bottles and inks from test chips.

    FILE says which chips were cast over which LED and what was read of them: a photo
    with marks, typed ratios, a light meter, a colorimeter or a spectrometer's file.
    The bottles' label is the prior. Nothing is written without --keep.

    \b
    name = "Sea blue chips"
    emitter = "white 4100 K"        # under = "opal sheet", if one lay under them
    [photo]
    file = "chips.jpg"              # marks = "marks.toml": see tintlab chip read
    [body]
    medium = "epoxy"
    thickness = "3 mm"
    batch = "20 g"
    cure = "amine"                  # chips of several cures teach each of them
    [[chip]]                        # may have ratio, light, lab, xyz or file of its own
    name = "blue 1"
    dyes = [{ bottle = "sea blue", dose = "1 drop" }]
    [[weighed]]
    bottle = "sea blue"
    drops = 50
    mass = "1.32 g"

    Example:

        tintlab chip learn demo/tide-bell/chips/chips.toml
    """  # noqa: D301  click takes the form feed as "leave these lines"
    from datetime import datetime

    from tintlab.chips import keep as shelving
    from tintlab.chips.ladder_file import read_ladder
    from tintlab.chips.learn import learn
    from tintlab.chips.metered import is_metered, learn_metered
    from tintlab.report import chipping, data
    from tintlab.shelf import begun, open_shelf, shelf_for

    place = shelving.found_shelf(file, own_shelf)
    near = [p for p in (into, place) if p is not None and begun(p)]
    shelf = open_shelf(*near, *shelf_for(file, own_shelf).folders[:-1])
    ladder = shelving.with_priors(read_ladder(file, shelf))
    today = datetime.now().astimezone().date().isoformat()
    metered = learn_metered(ladder) if is_metered(ladder) else ()
    lesson = None if metered else learn(ladder, emitters=shelf.all("emitters"))
    fits = lesson is None or lesson.fits
    plans = [
        shelving.planned(
            m.learned,
            folder=into or place,
            date=today,
            dye=(m.dye, m.curve),
            elsewhere=into is not None,
        )
        for m in metered
    ]
    plans += [
        shelving.planned(
            one, folder=into or place, date=today, elsewhere=into is not None
        )
        for one in (lesson.learned if lesson else ())
    ]
    written = []
    if keep and (fits or anyway):
        for plan in plans:
            if plan is not None:
                written += shelving.write(plan)
    if lesson is None:
        answer = chipping.metered_answer(ladder, metered, plans, written)
    else:
        answer = chipping.lesson_answer(lesson, plans, written)
    if as_json:
        say(data.as_json(answer))
    else:
        say(chipping.lesson_text(answer) + "\n")
    if not fits and keep and not anyway:
        raise InsetError(
            "these chips do not fit, so nothing was written; mend what is named "
            "above, or add --anyway"
        )
    if not as_json:
        say(chipping.kept_text(answer, keep=keep))


@click.command(context_settings=CONTEXT)
@click.argument("pictures", type=FILE, nargs=-1, required=True, metavar="PICTURE...")
@click.option(
    "--at",
    "places",
    multiple=True,
    metavar="PATCH",
    help="The glow: x,y or x,y,radius or left,top,width,height in pixels; once for all "
    "pictures or once for each. The middle half unless given.",
)
@json_option
def aim(pictures: tuple[Path, ...], places: tuple[str, ...], as_json: bool) -> None:
    """Choose a target from reference art.

    Takes the colour between the burnt-out core and the halo of a glow, and prints the
    [target] lines to paste into an inset file.

    Example:

        tintlab aim demo/tide-bell/art/painting.jpg --at 240,180,60
    """
    from tintlab.chips.aim import aim as aimed
    from tintlab.chips.aim import regions_of
    from tintlab.report import chipping_photo, data

    found = aimed(regions_of(pictures, places))
    answer = chipping_photo.aim_answer(found, pictures)
    say(data.as_json(answer) if as_json else chipping_photo.aim_text(answer))
