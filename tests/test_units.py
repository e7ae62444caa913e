"""What a maker writes for an amount, worked out by hand, and every slip of the pen."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from published import Published, published

from tintlab import units
from tintlab.errors import TintlabError

# ---------------------------------------------------------------- published
NIST = "NIST SP 811 (2008), appendix B, exact factors"


@published(
    Published(
        source=f"{NIST}, 1 inch [mm]",
        printed="25.4",
        given={"text": "1 inch", "units": units.LENGTHS},
        tolerance=1e-12,
    ),
    Published(
        source=f"{NIST}, 1 ft [mm]",
        printed="304.8",
        given={"text": "1 ft", "units": units.LENGTHS},
        tolerance=1e-10,
    ),
    Published(
        source=f"{NIST}, 1 mil [mm]",
        printed="0.0254",
        given={"text": "1 mil", "units": units.LENGTHS},
        tolerance=1e-15,
    ),
    Published(
        source=f"{NIST}, 1 oz avoirdupois [g]",
        printed="28.34952",
        given={"text": "1 oz", "units": units.MASSES},
    ),
    Published(
        source=f"{NIST}, 1 lb avoirdupois [g]",
        printed="453.59237",
        given={"text": "1 lb", "units": units.MASSES},
        tolerance=1e-10,
    ),
    Published(
        source=f"{NIST}, 1 US fluid ounce [mL]",
        printed="29.57353",
        given={"text": "1 fl oz", "units": units.VOLUMES},
    ),
)
def test_factor(check):
    found = units.quantity(check.given["text"], check.given["units"], example="1 g")
    assert found == pytest.approx(check.expected, abs=check.half_digit)


# ------------------------------------------------------------------ by hand


@pytest.mark.parametrize(
    ("text", "known", "wanted"),
    [
        ("9 mm", units.LENGTHS, 9),
        ("9mm", units.LENGTHS, 9),
        ("  9   mm ", units.LENGTHS, 9),
        ("9\tmm", units.LENGTHS, 9),
        ("0.9 cm", units.LENGTHS, 9),
        (".009 m", units.LENGTHS, 9),
        ("9e-3 m", units.LENGTHS, 9),
        ("9E3 um", units.LENGTHS, 9),
        ("3/8 inch", units.LENGTHS, 9.525),
        ("3 / 8 in", units.LENGTHS, 9.525),
        ("1 1/2 inches", units.LENGTHS, 38.1),
        ('0.25"', units.LENGTHS, 6.35),
        ("100 microns", units.LENGTHS, 0.1),
        ("100 \N{MICRO SIGN}m", units.LENGTHS, 0.1),
        ("5 thou", units.LENGTHS, 0.127),
        ("20 mg", units.MASSES, 0.02),
        ("1.5 kg", units.MASSES, 1500),
        ("50 mL", units.VOLUMES, 50),
        ("50 cc", units.VOLUMES, 50),
        ("0.05 L", units.VOLUMES, 50),
        ("90 s", units.TIMES, 1.5),
        ("1/2 h", units.TIMES, 30),
        ("30 deg", units.ANGLES, 30),
        ("30\N{DEGREE SIGN}", units.ANGLES, 30),
        ("0.02 A", units.CURRENTS, 20),
        ("-5 C", units.TEMPERATURES, -5),
        ("0.3 %", units.RATIOS, 0.003),
        ("0.3%", units.RATIOS, 0.003),
    ],
)
def test_quantity(text, known, wanted):
    assert units.quantity(text, known, example="9 mm") == pytest.approx(wanted)


@pytest.mark.parametrize(
    ("text", "amount", "unit", "let_down"),
    [
        ("4 drops", 4, "drops", 1),
        ("1 drop", 1, "drops", 1),
        ("2.5drops", 2.5, "drops", 1),
        ("0.2 g", 0.2, "g", 1),
        ("20 mg", 0.02, "g", 1),
        ("1e-3g", 0.001, "g", 1),
        ("+0.5g", 0.5, "g", 1),
        ("5\tg", 5, "g", 1),
        ("1/10 oz", 2.8349523125, "g", 1),
        ("0.3 %", 0.003, "%", 1),
        ("0.3%", 0.003, "%", 1),
        ("0.5 phr", 0.005, "phr", 1),
        ("0 g", 0, "g", 1),
        ("2 g of 50:1 let-down", 2, "g", 1 / 51),
        ("2 g of a 49:1 let-down", 2, "g", 1 / 50),
        ("3 drops of 9 : 1 letdown", 3, "drops", 1 / 10),
        ("2 g of 0:1 let-down", 2, "g", 1),
    ],
)
def test_dose(text, amount, unit, let_down):
    found = units.dose(text)
    assert found.amount == pytest.approx(amount)
    assert found.unit == unit
    assert found.let_down == pytest.approx(let_down)


@pytest.mark.parametrize(
    ("text", "share_a", "by"),
    [
        ("100:45 by weight", 100 / 145, "weight"),
        ("100:45", 100 / 145, "weight"),
        ("2:1 by volume", 2 / 3, "volume"),
        ("2:1 volume", 2 / 3, "volume"),
        ("1 : 1 by weight", 1 / 2, "weight"),
        ("1/2:1/4 by weight", 2 / 3, "weight"),
        ("1:0", 1, "weight"),
    ],
)
def test_mix(text, share_a, by):
    assert units.mix(text) == (pytest.approx(share_a), by)


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("40 x 60 mm", (40, 60)),
        ("40x60mm", (40, 60)),
        ("40 X 60 mm", (40, 60)),
        ("40 \N{MULTIPLICATION SIGN} 60 mm", (40, 60)),
        ("4 cm x 60 mm", (40, 60)),
        ('1.5" x 2"', (38.1, 50.8)),
        ("1 1/2 x 2 inch", (38.1, 50.8)),
        ("3/8 x 1/2 in", (9.525, 12.7)),
        ("4e1 x 60 mm", (40, 60)),
        ("40 x 600 um", (0.04, 0.6)),
    ],
)
def test_size(text, wanted):
    assert units.size(text) == pytest.approx(wanted)


# ----------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", 'is no quantity; write a number and a unit, as in "9 mm"'),
        ("mm", "is no quantity"),
        ("nine mm", "is no quantity"),
        ("nan mm", "is no quantity"),
        ("inf mm", "is no quantity"),
        ("--9 mm", "is no quantity"),
        ("9", '"9" has no unit; write it as in "9 mm"'),
        ("3/8", "has no unit"),
        ("9 furlongs", '"furlongs" in "9 furlongs" is no unit for this; units: mm'),
        ("9 MM", '"MM" in "9 MM" is no unit'),
        ("9 g", '"g" in "9 g" is no unit'),
        ("9 mm thick", '"mm thick" in "9 mm thick" is no unit'),
        ("9,5 mm", '"9,5 mm" has a decimal comma; write a point, as in "9.5 mm"'),
        ("1/0 mm", "divides by zero"),
        ("1 1/0 mm", "divides by zero"),
        ("1e999 mm", "no finite number"),
        ("1e99999999999 mm", "no finite number"),
        ("9" * 400 + " mm", "no finite number"),
        ("9" * 400 + "/" + "9" * 400 + " mm", "no finite number"),
        ("9" * 5000 + " mm", "has 5,003 characters"),
        ("1e308 m", "no finite number"),
    ],
)
def test_wrong_quantity(text, says):
    with pytest.raises(TintlabError) as error:
        units.quantity(text, units.LENGTHS, example="9 mm")
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("4", 'has no unit; write it as in "4 drops"'),
        ("four drops", "is no quantity"),
        ("4 blobs", '"blobs" in "4 blobs" is no unit'),
        ("4 mL", "is no unit for this; units: g"),
        ("-1 g", '"-1 g" is negative'),
        ("-1 drops of 50:1 let-down", "is negative"),
        ("1 g of -1:1 let-down", "is negative"),
        ("1 g of -2:1 let-down", "is negative"),
        ("1 g of 1e999:1 let-down", "no finite number"),
        ("1 g of 50:1", "is no let-down"),
        ("1 g of 1:50 let-down", "is no let-down"),
        ("0,5 g", "decimal comma"),
    ],
)
def test_wrong_dose(text, says):
    with pytest.raises(TintlabError) as error:
        units.dose(text)
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", 'is no mixing ratio; write "100:45 by weight" or "2:1 by volume"'),
        ("100", "is no mixing ratio"),
        ("100:45 by colour", "is no mixing ratio"),
        ("100-45", "is no mixing ratio"),
        ("100:45:10", "is no mixing ratio"),
        ("0:1", "part A is more than zero"),
        ("-1:1", "part A is more than zero"),
        ("1:-1", "part B not negative"),
        ("1e999:1", "no finite number"),
        ("1/0:1", "divides by zero"),
    ],
)
def test_wrong_mix(text, says):
    with pytest.raises(TintlabError) as error:
        units.mix(text)
    assert says in str(error.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", 'is no size; write "40 x 60 mm", or diameter = "30 mm"'),
        ("30 mm", "is no size"),
        ("40 x 60 x 9 mm", "is no size"),
        ("40 by 60 mm", "is no size"),
        ("40 x 60", '"60" has no unit'),
        ("40 mm x 60", '"60" has no unit'),
        ("a x 60 mm", "is no quantity"),
        ("40 x 60 kg", '"kg" in "60 kg" is no unit'),
    ],
)
def test_wrong_size(text, says):
    with pytest.raises(TintlabError) as error:
        units.size(text)
    assert says in str(error.value)


# --------------------------------------------------------------- properties


@given(
    amount=st.floats(1e-4, 1e4),
    unit=st.sampled_from(["g", "mg", "oz", "drops", "%", "phr"]),
    parts=st.sampled_from([0, 1, 9, 49, 99.5]),
)
@settings(max_examples=100, deadline=None)
def test_a_dose_is_read_back_from_how_it_is_shown(amount, unit, parts):
    let_down = f" of {parts}:1 let-down" if parts else ""
    found = units.dose(f"{amount!r} {unit}{let_down}")
    again = units.dose(str(found))
    assert again.unit == found.unit
    assert again.amount == pytest.approx(found.amount, rel=0.006)  # 3 figures shown
    assert again.let_down == pytest.approx(found.let_down, rel=1e-3)


@given(st.text(max_size=40) | st.from_regex(r"[-+0-9./ e:xX,%gm]{1,20}"))
@settings(max_examples=400, deadline=None)
def test_no_text_whatever_escapes_as_anything_but_our_error(text):
    readers = (
        lambda t: units.quantity(t, units.LENGTHS, example="9 mm"),
        units.dose,
        units.mix,
        units.size,
    )
    for reader in readers:
        try:
            found = reader(text)
        except TintlabError as error:
            assert str(error)  # noqa: PT017
        else:
            assert found is not None


def test_a_text_of_a_million_characters_is_read_at_once():
    for text in ("9" * 10**6, " " * 10**6, "1 g " + " of" * 10**5, "x" * 10**6):
        for reader in (units.dose, units.mix, units.size):
            with pytest.raises(TintlabError):
                reader(text)
