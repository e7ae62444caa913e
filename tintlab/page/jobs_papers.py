"""Pictures and papers made in other processes: proof, rooms and card."""

import tempfile
from pathlib import Path

from tintlab.errors import PageError
from tintlab.page.jobs import read
from tintlab.page.work import Answer, Asked, Say
from tintlab.power import read_supply
from tintlab.proof.photo_proof import make
from tintlab.proof.photo_scene import Wish
from tintlab.report import card_draw, card_layout, proofs
from tintlab.report.card import card_answer, day
from tintlab.report.powering import battery_answer
from tintlab.report.strips import write_strip
from tintlab.verdict import predict

SCALE = 0.1  # [g] step of the scale, as the command takes it unless told otherwise


def card(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab card" does; the PDF and a picture of it come back as bytes."""
    inset, shelf = read(asked)
    say("predicting")
    found = predict(inset)
    today = day(None)
    answer = card_answer(
        found,
        date=today,
        scale=SCALE,
        battery=battery_answer(found, read_supply(inset, shelf)),
    )
    say("drawing the card")
    size, sheet = str(asked.options["size"]), asked.options["sheet"]
    cards = [card_layout.panels(answer, size, card_draw.measure)]
    pages = (
        card_layout.sheets(cards, size, str(sheet))
        if sheet
        else card_layout.single(cards, size)
    )
    with tempfile.TemporaryDirectory(prefix="tintlab-") as place:
        pdf, picture = Path(place) / "card.pdf", Path(place) / "card.png"
        card_draw.write(pages, pdf, date=today)
        card_draw.write(card_layout.side_by_side(cards, size), picture, date=today)
        return {"pdf": pdf.read_bytes(), "picture": picture.read_bytes()}


def proof(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab proof --photo" does; both pictures lie beside the photo."""
    inset, shelf = read(asked)
    room = asked.options.get("room")
    wish = Wish(
        room=shelf.find("rooms", str(room)) if room else inset.room,
        lit=bool(asked.options.get("lit")),
        exposure=None,
        balance="room",
    )
    if not asked.options.get("photo") or not asked.options.get("corners"):
        raise PageError("bring a photo and click the four corners of the inset first")
    photo = Path(asked.options["photo"])
    made = make(
        inset,
        wish,
        photo=photo,
        marks=[str(asked.options["corners"])],
        where=photo.with_name(f"{photo.stem}-{asked.path.stem}"),
        inputs=[asked.path],
        progress=say,
    )
    answer = proofs.proof_answer(inset.name, made.scene, made.card, made.files)
    return {**answer, "text": proofs.proof_text(answer)}


def rooms(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab proof --rooms" does."""
    inset, shelf = read(asked)
    path = Path(asked.options["file"])
    say("in five rooms")
    return {"lines": write_strip(inset, shelf, path, progress=say), "file": str(path)}
