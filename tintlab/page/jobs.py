"""What runs in other processes: each job is what the command of its name runs.

Read the inset, call the library, make the flat object. Only texts, paths and flat
objects cross over.
"""

from datetime import datetime
from pathlib import Path

from tintlab.chips import keep as shelving
from tintlab.chips.ladder_file import read_ladder
from tintlab.chips.learn import learn
from tintlab.chips.metered import is_metered, learn_metered
from tintlab.chips.plan import plan as plan_chips
from tintlab.errors import InsetError
from tintlab.inset import Inset, read_inset
from tintlab.page.work import Answer, Asked, Say
from tintlab.piece import piece_of
from tintlab.report import advice, chipping, data, dosing
from tintlab.shelf import Shelf, open_shelf, shelf_for
from tintlab.solve import dose, limits, trim
from tintlab.solve.seen import find_out
from tintlab.verdict import predict


def read(asked: Asked) -> tuple[Inset, Shelf]:
    """Read the piece as it stands on the page, and its shelf."""
    shelf = shelf_for(asked.path, asked.own_shelf)
    return read_inset(asked.path, shelf, text=asked.text), shelf


def glow(asked: Asked) -> Answer:
    """Do what "tintlab glow" does."""
    return data.flat(predict(read(asked)[0]))


def dose_search(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab dose" does."""
    inset, shelf = read(asked)
    every = bool(asked.options.get("every"))
    bottles = dose.candidates(inset, shelf.own_first("bottles", every=every))
    return dosing.dose_answer(dose.doses(inset, bottles, progress=say))


def trim_search(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab trim" does."""
    inset, shelf = read(asked)
    piece = piece_of(inset)
    say("why it is off")
    finding = find_out(inset, piece, shelf) if inset.seen else None
    others = []
    if asked.options.get("leds"):
        here = {light.emitter.name for light in inset.lights}
        others = [e for e in shelf.all("emitters") if e.name not in here]
    found = trim.trim(
        inset,
        piece if finding is None else finding.piece,
        shelf.own_first("inks", every=bool(asked.options.get("every"))),
        emitters=others,
        most_inks=int(asked.options.get("most_inks", trim.MOST_INKS)),
        progress=say,
    )
    say("pouring again")
    again = dose.pour_again(inset, {} if finding is None else finding.strengths)
    answer = advice.trim_answer(inset, found, finding, again)
    answer["before_hex"] = advice.shown(found.fixes[0].before, inset)
    answer["again"] = None if again is None else _again(again)
    return answer


def _again(found: dose.Doses) -> Answer:
    """Return the dose of another pour as it is written in an inset file."""
    recipe = found.recipes[0]
    dyes = [
        {"bottle": part.bottle.name, "dose": str(part.dose)}
        if part.minutes is None
        else {"bottle": part.bottle.name, "time": f"{part.minutes:g} min"}
        for part in recipe.parts
    ]
    return {"layer": found.layer, "dyes": dyes, "difference": recipe.difference}


def reach_search(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab reach" does."""
    inset, shelf = read(asked)
    found = limits.limits(inset, shelf, points=30, progress=say)
    return advice.reach_answer(inset, found)


def chip_plan(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab chip plan" does."""
    inset, _ = read(asked)
    say("weighing which chips teach most")
    batch = float(asked.options.get("batch", 20.0))
    advised = plan_chips(inset, batch=batch, thickness=3.0, most=4)
    answer = chipping.plan_answer(advised, batch=batch)
    return {**answer, "file_text": chipping.chips_file(answer, advised)}


def chip_learn(asked: Asked, say: Say) -> Answer:
    """Do what "tintlab chip learn" does; the file is `options["file"]`."""
    file, keep = Path(asked.options["file"]), bool(asked.options.get("keep"))
    place = shelving.found_shelf(file, asked.own_shelf)
    if not place.is_dir():
        place = asked.path.parent / "shelf"
    near = [place] if place.is_dir() else []
    shelf = open_shelf(*near, *shelf_for(file, asked.own_shelf).folders[:-1])
    say("reading the photo")
    ladder = shelving.with_priors(read_ladder(file, shelf))
    say("learning")
    today = datetime.now().astimezone().date().isoformat()
    metered = learn_metered(ladder) if is_metered(ladder) else ()
    lesson = None if metered else learn(ladder, emitters=shelf.all("emitters"))
    plans = [
        shelving.planned(m.learned, folder=place, date=today, dye=(m.dye, m.curve))
        for m in metered
    ]
    plans += [
        shelving.planned(one, folder=place, date=today)
        for one in (lesson.learned if lesson else ())
    ]
    written = []
    if keep:
        if lesson is not None and not lesson.fits and not asked.options.get("anyway"):
            raise InsetError(
                "these chips do not fit, so nothing was written; mend what is named "
                "above, or keep them anyway"
            )
        written = [path for p in plans if p is not None for path in shelving.write(p)]
    if lesson is None:
        answer = chipping.metered_answer(ladder, metered, plans, written)
    else:
        answer = chipping.lesson_answer(lesson, plans, written)
    return {**answer, "read_from": str(file)}
