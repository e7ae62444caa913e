"""The strip of rooms as text, as JSON and as a picture."""

import io
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from tintlab.cautions import BRIGHT, BRIGHT_FROM
from tintlab.errors import TintlabError
from tintlab.inset import Inset
from tintlab.proof import glare
from tintlab.proof.photo_write import MARK, check_targets, write_all
from tintlab.proof.strip import RoomView, Strip, five_rooms, room_strip
from tintlab.proof.veil import PHOTOPIC, READS
from tintlab.report.strip_plot import strip_figure
from tintlab.report.text import WIDTH, amount, line, remark
from tintlab.shelf import Shelf

Answer = dict[str, Any]

TIED = "\N{NO-BREAK SPACE}"  # keeps words on one line while they are wrapped

FIELDS = {
    "name": "of the inset",
    "distance": "of the viewer [mm]",
    "distance_assumed": "whether the file gave none",
    "degrees": "width and height of the inset for the viewer [deg]",
    "age": "of the viewer [years]",
    "pigment": "of the viewer's eyes: 0 black, 0.5 brown, 1 light, 1.2 very light",
    "rooms": "one object for each, see ROOM_FIELDS; darkest first",
    "cautions": "where the light can hurt",
    "notes": "what the pictures show and what they leave out",
}
ROOM_FIELDS = {
    "room": "room preset",
    "illuminance": "on the face [lx]",
    "lit_XYZ": "of glow and veil, mean over the face, Y in cd/m2",
    "unlit_XYZ": "of the face with the LEDs off, Y in cd/m2",
    "white_XYZ": "of a perfect white card in the room, Y in cd/m2",
    "mirror": "of a white wall where it is mirrored; in none of the others [cd/m2]",
    "contrast": "luminance of the lit over the unlit face; null in the dark [-]",
    "difference": "to the target, as in glow",
    "verdict": "as in glow",
    "reason": "one sentence",
    "least_level": "least LED light that still reads, over that of the file [-]",
    "least_level_5_95": "its spread, from that of the luminance [-]",
    "least_luminance": "of the glow at that level, without room light [cd/m2]",
    "least_difference": "to the target at that level; null without a target",
    "least_within": "whether that is within tolerance; null without a target",
    "least_limit": "what asks for it: veil, colour or dark eye",
    "drowned": "angle up to which its glare in the eye outshines a white card [deg]",
    "drowned_size": "the same on the prop [mm]",
}
LIMITS = {
    "veil": f"the glow is less than {READS:g} times the unlit face",
    "colour": "room light turns the colour",
    "dark eye": f"colours fade, at {PHOTOPIC:g} cd/m2 and less",
}
SHOWN = (
    "simulated: a grey prop and a white card in the even light of the room; each "
    "picture as an eye sees it that is used to what it looks at. What is brighter than "
    "the screen's white keeps its hue, but no screen is as bright as the piece."
)
LEFT_OUT = (
    "left out: lamps and windows that are mirrored in a polished face, the light of "
    "the piece on the prop, and any change of colour of dimmed LEDs."
)


def write_strip(
    inset: Inset,
    shelf: Shelf,
    path: Path,
    *,
    progress: Callable[[str], None] | None = None,
) -> list[str]:
    """Draw an inset in five rooms and return the lines of text about it.

    Takes and raises what `draw_strip` does.
    """
    answer = draw_strip(inset, shelf, path, progress=progress)
    return strip_text(answer).splitlines()


def draw_strip(
    inset: Inset,
    shelf: Shelf,
    path: Path,
    *,
    progress: Callable[[str], None] | None = None,
) -> Answer:
    """Draw an inset in five rooms and return what there is to say about it.

    Parameters
    ----------
    inset : Inset
        With a size.
    shelf : Shelf
        Its rooms.
    path : Path
        A PNG file; one that is no simulated picture is not written over.
    progress : callable, optional
        Told what is being done.

    Returns
    -------
    dict
        With the keys of `FIELDS`.

    Raises
    ------
    TintlabError
        When the inset has no size, or the picture cannot be written.
    """
    check_strip(path)
    strip = room_strip(inset, five_rooms(inset, shelf), progress=progress)
    answer = strip_answer(strip)
    write_all({path: strip_png(strip, answer)})
    return answer


def check_strip(path: Path) -> None:
    """Refuse a place for the strip before anything is reckoned."""
    if path.suffix.lower() != ".png":
        raise TintlabError(
            f'asked for the strip of rooms "{path}"; it is a PNG picture: give it a '
            'name that ends in ".png"'
        )
    if not path.absolute().parent.is_dir():
        raise TintlabError(
            f'asked to write into the folder "{path.parent}", which does not exist; '
            "make it first"
        )
    check_targets([path], [])


def strip_png(strip: Strip, answer: Answer) -> bytes:
    """Return the picture as PNG that says it is simulated."""
    content = io.BytesIO()
    strip_figure(strip, captions(answer), title(answer), footer(answer)).savefig(
        content, format="png", metadata={"Description": MARK, "Software": "tintlab"}
    )
    return content.getvalue()


def strip_answer(strip: Strip) -> Answer:
    """Return everything about a strip but its pictures, with the keys of `FIELDS`."""
    return {
        "name": strip.inset.name,
        "distance": strip.distance,
        "distance_assumed": strip.assumed,
        "degrees": [round(angle, 3) for angle in strip.degrees],
        "age": strip.age,
        "pigment": strip.pigment,
        "rooms": [_room(view, strip) for view in strip.views],
        "cautions": [BRIGHT] if _glow(strip) > BRIGHT_FROM else [],
        "notes": [SHOWN, LEFT_OUT],
    }


def _glow(strip: Strip) -> float:
    """Luminance of the glow without room light. [cd/m2]"""
    return float(strip.views[0].light.glow[1])


def _room(view: RoomView, strip: Strip) -> Answer:
    light, least, found = view.light, view.least, view.prediction
    drowned = np.radians(view.drowned)
    return {
        "room": light.room.name,
        "illuminance": light.room.illuminance,
        "lit_XYZ": _figures(light.lit),
        "unlit_XYZ": _figures(light.unlit),
        "white_XYZ": _figures(light.white),
        "mirror": _figures(light.mirror)[1],
        "contrast": float(f"{light.contrast:.4g}")
        if np.isfinite(light.contrast)
        else None,
        "difference": None if found.difference is None else round(found.difference, 4),
        "verdict": found.verdict,
        "reason": found.reason,
        "least_level": float(f"{least.level:.4g}"),
        "least_level_5_95": [float(f"{one:.3g}") for one in view.least_range],
        "least_luminance": float(f"{least.luminance:.4g}"),
        "least_difference": None
        if least.difference is None
        else round(least.difference, 4),
        "least_within": least.within,
        "least_limit": least.limit,
        "drowned": round(view.drowned, 2),
        "drowned_size": round(float(strip.distance * np.tan(drowned)), 0)
        if view.drowned < 60
        else None,
    }


def _figures(XYZ: Any) -> list[float]:
    return [float(f"{value:.5g}") for value in XYZ]


def title(answer: Answer) -> str:
    """Say what is shown and from where."""
    width, height = answer["degrees"]
    assumed = " (assumed)" if answer["distance_assumed"] else ""
    return (
        f"{answer['name']}, seen from {answer['distance'] / 1000:.3g} m{assumed}, "
        f"{width:.2g} x {height:.2g} degrees"
    )


def footer(answer: Answer) -> str:
    """Say what the pictures are."""
    return (
        f"{MARK.capitalize()}. Left lit, right unlit; a grey prop and a white card. "
        f"Each picture as an eye of {answer['age']:g} years sees it that is used to "
        "what it looks at, with its own glare. What is brighter than the screen's "
        "white keeps its hue."
    )


def captions(answer: Answer) -> list[tuple[str, str]]:
    """Return a heading and the words for each room."""
    return [(_heading(room), _caption(room)) for room in answer["rooms"]]


def _heading(room: Answer) -> str:
    return f"{room['room']}, {room['illuminance']:,g} lx"


def _caption(room: Answer) -> str:
    lit, unlit = room["lit_XYZ"][1], room["unlit_XYZ"][1]
    numbers = f"lit {_short(lit)}, unlit {_short(unlit)} cd/m2"
    verdict = [room["verdict"].upper()] if room["verdict"] else []
    return "\n".join([f"{numbers}, {contrast_words(room)}", *verdict, _least(room)])


def _short(value: float) -> str:
    """Write a positive number with two significant figures, never as 1e+03."""
    rounded = float(f"{value:.2g}")
    return f"{rounded:,.0f}" if rounded >= 100 else f"{rounded:g}"


def contrast_words(room: Answer) -> str:
    """Write the contrast of lit to unlit."""
    value = room["contrast"]
    if value is None:
        return "no room light"
    return f"{value:.2f}:1" if value < 1.995 else f"{_short(value)}:1"


def _least(room: Answer) -> str:
    """Say how much LED light it takes."""
    level = room["least_level"]
    words = (
        f"needs {_short(level)} times the LED light"
        if level > 1
        else f"reads from {_short(level * 100)} % of the LED light"
    )
    return words if room["least_within"] in (True, None) else f"{words}, off in colour"


def _range(room: Answer) -> str:
    low, high = room["least_level_5_95"]
    words = (
        f"({_short(low)} to {_short(high)})"
        if room["least_level"] > 1
        else f"({_short(low * 100)} to {_short(high * 100)} %)"
    )
    return words.replace(" ", TIED)


def strip_text(answer: Answer) -> str:
    """Write a strip as text."""
    lines = [title(answer), ""]
    for room in answer["rooms"]:
        lit, unlit = amount(room["lit_XYZ"][1]), amount(room["unlit_XYZ"][1])
        numbers = f"lit {lit:>6}  unlit {unlit:>6} cd/m2  {contrast_words(room)}"
        lines += [
            f"  {room['room']:<14} {room['illuminance']:>6,g} lx  {numbers}",
            *_under(room["verdict"] or "no target"),
            *_under(f"{_least(room)} {_range(room)};"),
            *_under(f"with less {LIMITS[room['least_limit']]}"),
        ]
    lines.append("")
    dark = answer["rooms"][0]
    if dark["drowned_size"] and dark["drowned"] > max(answer["degrees"]) / 2:
        lines.append(line("glare", _glare_words(dark, answer)))
    mirror = max(answer["rooms"], key=lambda room: room["mirror"])
    if mirror["mirror"] > 0:
        lines.append(line("mirror", _mirror_words(mirror)))
    remarks = [remark("caution", one) for one in answer["cautions"]]
    remarks += [remark("note", one) for one in answer["notes"]]
    return "\n".join([*lines, "", *remarks])


def _under(words: str) -> list[str]:
    """Write words under the numbers of a room, wrapped."""
    indent = " " * 17
    wrapped = textwrap.wrap(
        words, WIDTH, initial_indent=indent, subsequent_indent=indent + "  "
    )
    return [one.replace(TIED, " ") for one in wrapped]


def _mirror_words(room: Answer) -> str:
    times = room["mirror"] / room["unlit_XYZ"][1]
    return (
        "a white wall that is mirrored in the polished face adds "
        f"{_short(times)} times the unlit face ({_short(room['mirror'])} cd/m2 in "
        f"{room['room']}), a lamp or window far more: stand where it is not seen"
    )


def _glare_words(dark: Answer, answer: Answer) -> str:
    old = glare.stronger(
        dark["drowned"], age=70.0, than=answer["age"], pigment=answer["pigment"]
    )
    return (
        f"in {dark['room']} the light that the eye scatters outshines a white card up "
        f"to {dark['drowned']:.2g} degrees from the middle "
        f"({dark['drowned_size'] / 10:.0f} cm on the prop) and hides what is there; at "
        f"70 years it is {old:.2g} times as strong; dim the LEDs for a dark house"
    )
