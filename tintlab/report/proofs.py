"""What a photo proof was made of: text and JSON, with the exposure card."""

from pathlib import Path
from typing import Any

import numpy as np

from tintlab.cautions import BRIGHT, BRIGHT_FROM
from tintlab.proof.photo_exposure import ExposureCard
from tintlab.proof.photo_light import FLARE, SPILT
from tintlab.proof.photo_scene import GREY, Scene
from tintlab.report.text import amount, line, remark

Answer = dict[str, Any]

FAR = 4.0  # times between the room and the photo's own exposure worth a word
PWM = (
    "LEDs that are dimmed by switching flicker too: choose whole multiples of their "
    "period (1/500 s at 500 Hz), or at least ten of them"
)


def proof_answer(
    name: str, scene: Scene, card: ExposureCard, files: dict[str, Path]
) -> Answer:
    """Return a flat object: units, assumptions, exposure card, files."""
    picture, wish = scene.picture, scene.wish
    width, height = picture.size
    return {
        "name": name,
        "photo": picture.path.name,
        "photo_size": [width, height],
        "photo_bits": picture.space.bits,
        "photo_shows": "lit" if wish.lit else "unlit",
        "room": wish.room.name,
        "room_illuminance": wish.room.illuminance,
        "insets": [
            {
                "corners": np.round(patch.place.corners, 1).tolist(),
                "fitted": patch.place.fitted,
                "pixels_per_mm": _figures(patch.scale),
            }
            for patch in scene.patches
        ],
        "luminance": _figures(scene.glow_mean),
        "white_luminance": _figures(scene.unit),
        "assumed_reflectance": GREY,
        "scale_held": scene.held,
        "exposure": round(scene.exposure, 2),
        "exposure_automatic": wish.exposure is None,
        "balance": wish.balance,
        "balance_gains": [round(float(g), 3) for g in scene.set_camera.gains],
        "eye_dimmed": round(float(-np.log2(scene.eye_gain)), 2),
        "clear_exposure": round(card.clear, 2),
        "first_full": card.first_full,
        "clear_seconds": _figures(card.seconds),
        "iso": card.iso,
        "aperture": card.aperture,
        "exposure_noted": card.noted,
        "shutters": [_figures(t) for t in card.shutters],
        "steps": [
            {
                "stops": round(step.stops, 2),
                "seconds": _figures(step.seconds),
                "burnt": [round(share, 3) for share in step.burnt],
            }
            for step in card.steps
        ],
        "beyond_picture": card.beyond,
        "photo_lux": None if card.photo_lux is None else _figures(card.photo_lux),
        "files": {key: str(path) for key, path in files.items()},
        "notes": [*picture.notes, *_notes(scene, card)],
    }


def _figures(value: float) -> float:
    return float(f"{value:.4g}")


def _notes(scene: Scene, card: ExposureCard) -> list[str]:
    room = scene.wish.room
    scale = (
        f"a photo has no units: what surrounds the inset is taken to send back "
        f"{GREY * 100:.0f} % of the {room.illuminance:g} lx of the room, so the white "
        f"of the photo is {amount(scene.unit)} cd/m2"
    )
    if scene.held:
        scale += "; its mean is far from usual, so the scale was held at one stop"
    notes = [scale]
    if any(patch.place.fitted for patch in scene.patches):
        notes.append(
            "the four corners were fitted to the outline; give the corners of the "
            "rectangle around the inset if the glow lies askew"
        )
    notes.append(
        f"assumed: {SPILT * 100:.0f} % of the glow falls on what is near, "
        f"{FLARE * 100:.0f} % is scattered by the phone's lens"
    )
    if card.photo_lux is not None:
        ratio = card.photo_lux / room.illuminance
        if not 1 / FAR < ratio < FAR:
            notes.append(
                f"the exposure data in the photo speak of about "
                f"{amount(card.photo_lux)} lx, the room has {room.illuminance:g}; "
                "choose the room with --room"
            )
    if card.beyond:
        notes.append(
            "the glow is more vivid than this picture can hold: a phone cuts it at any "
            "exposure"
        )
    if scene.glow_mean > BRIGHT_FROM:
        notes.append(BRIGHT)
    return notes


# a camera's shutter times in thirds of a stop, as 1/n s; common practice
NOMINAL = (
    *(
        1,
        1.3,
        1.6,
        2,
        2.5,
        3.2,
        4,
        5,
        6,
        8,
        10,
        13,
        15,
        20,
        25,
        30,
        40,
        50,
        60,
        80,
        100,
    ),
    *(125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200),
    *(4000, 5000, 6400, 8000),
)


def shutter(seconds: float) -> str:
    """Write a shutter time as a camera shows it, the next shorter one.

    Examples
    --------
    >>> shutter(0.0042), shutter(2.5), shutter(1 / 100), shutter(1e-6)
    ('1/250 s', '2.5 s', '1/100 s', 'below 1/8000 s')
    """
    if seconds >= 1:
        return f"{seconds:.2g} s"
    shorter = [n for n in NOMINAL if n >= 0.99 / seconds]
    return f"1/{shorter[0]:g} s" if shorter else f"below 1/{NOMINAL[-1]} s"


def proof_text(answer: Answer) -> str:
    """Write what was painted, and the exposure card."""
    width, height = answer["photo_size"]
    count = len(answer["insets"])
    chosen = "as a meter would" if answer["exposure_automatic"] else "as asked"
    balance = answer["balance"]
    balance = f"{balance:g} K" if isinstance(balance, float) else balance
    lines = [
        f"{answer['name']}, in {answer['room']} ({answer['room_illuminance']:g} lx)",
        "",
        line(
            "photo",
            f"{answer['photo']}, {width} x {height}, {answer['photo_bits']} bits, "
            f"{answer['photo_shows']}; {count} inset{'s' if count > 1 else ''}",
        ),
        line(
            "glow",
            f"{amount(answer['luminance'])} cd/m2; white of the photo "
            f"{amount(answer['white_luminance'])}",
        ),
        line("eye", f"all else dimmed by {answer['eye_dimmed']:.1f} stops on a screen"),
        line(
            "phone",
            f"{answer['exposure']:+.1f} stops against the photo, {chosen}; white "
            f"balance {balance}",
        ),
        "",
        "  exposure card: ISO "
        f"{answer['iso']:g}, f/{answer['aperture']:g}"
        + ("" if answer["exposure_noted"] else " (assumed)")
        + ", white balance fixed, exposure locked",
        "",
        "    stops   shutter        burnt out: red   green   blue",
    ]
    for step in answer["steps"]:
        cells = "".join(
            f"{'-' if share == 0 else f'{share * 100:.0f} %':>8}"
            for share in step["burnt"]
        )
        lines.append(
            f"    {step['stops']:+5.1f}   {shutter(step['seconds']):<18}{cells:>28}"
        )
    clear = answer["clear_exposure"]
    lines += [
        "",
        line(
            "all colours",
            f"{clear:+.1f} stops or less: no channel of the glow is full; "
            f"{answer['first_full']} fills first",
        ),
        line("flicker", _flicker(answer)),
        "",
    ]
    lines += [remark("note", note) for note in answer["notes"]]
    lines += ["", "  simulated pictures:"]
    lines += [f"    {path}" for path in answer["files"].values()]
    return "\n".join(lines)


def _flicker(answer: Answer) -> str:
    times = ", ".join(shutter(t) for t in answer["shutters"])
    if times:
        return f"under mains lamps take whole flickers: {times}. {PWM}"
    return (
        "that is shorter than one flicker of mains lamps (1/100 or 1/120 s): lower "
        "the ISO, stop down, use a grey filter or dim the LEDs until 1/100 s fits. "
        f"{PWM}"
    )
