"""Measured files: what is read, what is refused, and how it reaches the grid.

All texts imitate the form of instrument exports; their numbers are invented.
"""

import warnings

import colour
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator, make_interp_spline

from tintlab.errors import SpectrumError
from tintlab.measured import (
    Measured,
    internal_transmittance,
    read_measured,
    to_grid,
)
from tintlab.optics.fresnel import normal_reflectance
from tintlab.spectrum import WAVELENGTHS, Source

SOURCE = Source(citation="own measurement invented.csv", kind="measured")
AXIS = np.arange(380.0, 781.0, 5.0)


@pytest.fixture
def write(tmp_path):
    """Return a function that writes a text or bytes and gives the path."""

    def to_file(content, name="film.csv"):
        path = tmp_path / name
        data = content if isinstance(content, bytes) else content.encode("utf-8")
        path.write_bytes(data)
        return path

    return to_file


def record(values, *, wavelengths=AXIS, quantity="transmittance"):
    return Measured(
        wavelengths=wavelengths, values=values, quantity=quantity, source=SOURCE
    )


def line_shape(wavelengths, *, centre=523.0, width=20.0):
    """A Gaussian line of a full width at half maximum. [nm]"""
    return 2.0 ** (-4 * ((np.asarray(wavelengths) - centre) / width) ** 2)


# ---- tables that are read --------------------------------------------------------

THREE = ([400.0, 410.0, 420.0], [0.912, 0.905, 0.25])

FILES = {
    "comma": "Wavelength (nm),Transmittance\n400,0.912\n410,0.905\n420,0.25\n",
    "semicolon, decimal comma": "nm;T\n400,0;0,912\n410,0;0,905\n420,0;0,25\n",
    "tab": "Wavelength\tT\n400\t0.912\n410\t.905\n420\t2.5E-1\n",
    "tab, decimal comma": "λ [nm]\tτ [-]\n400\t0,912\n410\t,905\n420\t2,5e-01\n",
    "blanks": "Wavelength (nm)   Transmission\n 400  0.912\n 410  0.905\n 420  .25\n",
    "one blank between names": "Wavelength [nm] T [-]\n400 0.912\n410 0.905\n420 .25\n",
    "blanks, decimal comma": "nm T\n400,00 0,912\n410,00 0,905\n420,00 0,250\n",
    "quoted decimal comma": '"nm","T"\n"400","0,912"\n"410","0,905"\n"420","0,25"\n',
    "byte order mark": "\ufeffnm,T\n400,0.912\n410,0.905\n420,0.25\n",
    "windows lines": "nm,T\r\n400,0.912\r\n410,0.905\r\n420,0.25\r\n",
    "old line ends": "nm,T\r400,0.912\r410,0.905\r420,0.25\r",
    "comments": "# film\nnm,T\n# dark done\n400,0.912\n#x\n410,0.905\n420,0.25\n",
    "header in a comment": "# nm, T\n400,0.912\n410,0.905\n420,0.25\n",
    "preamble": (
        "Scan report\nDate;2;3\nPoints: 3\n\nIntegration [ms];100\n"
        "nm;T\n400;0.912\n410;0.905\n420;0.25\n"
    ),
    "units in a line of their own": "Wavelength,T\nnm,%\n400,91.2\n410,90.5\n420,25\n",
    "percent in header": "nm,%T\n400,91.2\n410,90.5\n420,25\n",
    "percent by size": "nm,T\n400,91.2\n410,90.5\n420,25\n",
    "text after": "nm,T\n400,0.912\n410,0.905\n420,0.25\n>>> end\n",
    "blank lines and cells": "nm,T,\n\n400,0.912,\n,,\n410,0.905,\n420,0.25,\n\n",
    "blank column": "nm\t\tT\n400\t\t0.912\n410\t\t0.905\n420\t\t0.25\n",
    "falling": "nm,T\n420,0.25\n410,0.905\n400,0.912\n",
    "wavelength second": "T,Wavelength [nm]\n0.912,400\n0.905,410\n0.25,420\n",
    "pixel first": "pixel,nm,T\n1,400,0.912\n2,410,0.905\n3,420,0.25\n",
    "remarks, none of them": "nm;T;remark\n400;0.912;\n410;0.905;\n420;0.25;\n",
    "remarks": "nm;T;remark\n400;0.912;\n410;0.905;repeated\n420;0.25;\n",
    "minus sign": "nm,T,drift\n400,0.912,\N{MINUS SIGN}1\n410,0.905,0\n420,0.25,0\n",
    "noise outside 380-780 nm": "nm,T\n200,7.3\n400,0.912\n410,0.905\n420,0.25\n",
}


@pytest.mark.parametrize("text", FILES.values(), ids=FILES.keys())
def test_a_table_is_read(write, text):
    found = read_measured(write(text))
    wavelengths, values = THREE
    inside = found.wavelengths > 380
    assert found.quantity == "transmittance"
    assert found.wavelengths[inside].tolist() == wavelengths
    assert found.values[inside] == pytest.approx(values, rel=1e-14)
    assert found.notes[0].startswith(f"read {found.values.size} rows, ")
    assert found.source.kind == "measured"


@pytest.mark.parametrize(
    ("header", "quantity"),
    [
        ("Transmission", "transmittance"),
        ("%T", "transmittance"),
        ("T (film 2)", "transmittance"),
        ("Reflectance [-]", "reflectance"),
        ("R", "reflectance"),
        ("ρ", "reflectance"),  # noqa: RUF001  (rho is meant)
        ("Abs", "absorbance"),
        ("A", "absorbance"),
        ("Absorbance per mm", "absorbance"),
        ("Optical density", "absorbance"),
        ("Irradiance [W/(m2 nm)]", "power"),
        ("Intensity (counts)", "power"),
        ("uW/nm", "power"),
        ("Sample A", "unknown"),
        ("concentration 2", "unknown"),
        ("Sample A [%]", "unknown ratio"),
        ("film, as fraction", "unknown ratio"),
    ],
)
def test_the_header_names_the_quantity(write, header, quantity):
    text = f"nm;{header}\n400;0.5\n410;0.25\n"
    assert read_measured(write(text)).quantity == quantity


HEADER_NOTE = (
    'header "Wavelength (nm)" and "%T" taken as wavelength in nm and transmittance in '
    "percent"
)
SIZE_NOTE = "percent turned into ratio because the largest is 60 and no percent sign is"


def test_notes_say_what_was_made_of_the_file(write):
    lines = [f"{w:g};{50 + w / 100:g};1" for w in AXIS[::-1]]
    text = "\n".join(["Wavelength (nm);%T;other", *lines, "end of scan", "bye"])
    assert read_measured(write(text)).notes == (
        "read 81 rows, 380-780 nm in 5 nm steps",
        HEADER_NOTE,
        "value columns left out: 1",
        "left out 2 lines of text after the table",
        "wavelengths fall in the file; the rows were turned round",
        "percent turned into ratio because the header says so",
    )


def test_notes_of_a_bare_table(write):
    found = read_measured(write("400,40\n410.5,50\n430,60\n"), expected="reflectance")
    assert found.notes == (
        "read 3 rows, 400-430 nm in steps of 10.5 to 19.5 nm",
        "no header: the first column taken as wavelength in nm, the next as value",
        "nothing names the quantity; taken as reflectance, as asked",
        SIZE_NOTE + " there",
    )
    assert found.values.tolist() == [0.4, 0.5, 0.6]


def test_percent_sign_holds_for_a_dark_film(write):
    found = read_measured(write("nm,%T\n400,0.8\n410,0.4\n"))
    assert found.values == pytest.approx([0.008, 0.004], rel=1e-14)


@pytest.mark.parametrize(
    ("largest", "kept"), [(1.05, 1.05), (1.06, None), (2.0, None), (2.1, 0.021)]
)
def test_size_decides_between_ratio_and_percent(write, largest, kept):
    path = write(f"nm,T\n400,{largest}\n410,0.4\n")
    if kept is None:
        with pytest.raises(SpectrumError, match='write "%" or "ratio" in the header'):
            read_measured(path)
    else:
        assert read_measured(path).values[0] == pytest.approx(kept, rel=1e-14)


def test_a_line_of_units_alone_is_a_header(write):
    found = read_measured(write("Film scan\nnm,%\n400,0.8\n410,0.4\n"))
    assert found.quantity == "unknown ratio"
    assert found.values == pytest.approx([0.008, 0.004], rel=1e-14)


def test_ratio_in_the_header_is_kept(write):
    found = read_measured(write("nm,T [-]\n400,0.8\n410,0.4\n"))
    assert found.values.tolist() == [0.8, 0.4]
    assert "values taken as a ratio because the header says so" in found.notes


@pytest.mark.parametrize(
    ("expected", "quantity", "value"),
    [
        (None, "reflectance", 0.05),
        ("reflectance", "reflectance", 0.05),
        ("transmittance", "transmittance", 0.8),
        ("absorbance", "transmittance", 0.8),
        ("power", "power", 17.0),
    ],
)
def test_the_expected_column_is_chosen(write, expected, quantity, value):
    text = "nm,serial,R,T,flux\n400,3,0.05,0.8,17\n410,4,0.06,0.7,18\n"
    found = read_measured(write(text), expected=expected)
    assert (found.quantity, found.values[0]) == (quantity, value)
    assert "value columns left out: 3" in found.notes


def test_a_power_is_never_taken_for_percent(write):
    found = read_measured(write("400,60\n410,50\n"), expected="power")
    assert found.values.tolist() == [60.0, 50.0]


def test_the_record_is_read_only_and_checked():
    found = record(np.ones(81))
    with pytest.raises(ValueError, match="read-only"):
        found.values[0] = 0.0
    with pytest.raises(SpectrumError, match="rising wavelengths"):
        record(np.ones(81), wavelengths=AXIS[::-1])
    with pytest.raises(SpectrumError, match="rising wavelengths"):
        record(np.ones(80))
    with pytest.raises(SpectrumError, match='asked for "radiance"'):
        record(np.ones(81), quantity="radiance")


# ---- tables that are refused -----------------------------------------------------

REFUSED = {
    "blank value": ("nm,T\n400,0.9\n410,\n420,0.8\n", r":3: .*lacks a .*mend or"),
    "NaN": ("nm,T\n400,0.9\n410,NaN\n420,0.8\n", r':3: "410,NaN" lacks'),
    "spreadsheet error": ("nm;T\n400;0.9\n410;#N/A\n420;0.8\n", r":3: .*lacks"),
    "infinite": ("nm,T\n400,0.9\n410,1e999\n420,0.8\n", r":3: .*lacks"),
    "blank wavelength": ("nm,T\n400,0.9\n,0.9\n420,0.8\n", r":3: .*lacks"),
    "hole in the first row": ("nm,T\n400,\n410,0.9\n420,0.8\n", r":2: .*lacks"),
    "NaN in the first row": ("nm T\n400 NaN\n410 0.9\n420 0.8\n", r":2: .*lacks"),
    "first wavelength blank": ("nm;T\n;0.7\n410;0.9\n420;0.8\n", r":2: .*lacks"),
    "hole in the last row": ("nm,T\n400,0.9\n410,0.9\n420,nan\n", r":4: .*lacks"),
    "text inside": ("nm,T\n400,0.9\nlamp change\n420,0.8\n", r":3: .*lacks"),
    "two tables": ("nm,T\n400,0.9\n410,0.8\nnm,T\n400,0.7\n410,0.6\n", r":4: .*lacks"),
    "mixed decimals": ("nm;T\n400;0.9\n410;0.8\n420;0,7\n", r":4: .*lacks"),
    "cell too many": ("nm,T\n400,0.9\n410,0,9\n420,0.8\n", r":3: .*has 3 cells"),
    "duplicate": ("nm,T\n400,0.9\n410,0.8\n410,0.8\n", r":4: 410 nm .* in line 3"),
    "nearly the same": (
        "nm,T\n400,0.9\n400.004,0.8\n410,1\n",
        r":3: 400.004 nm stands",
    ),
    "to and fro": (
        "nm,T\n400,0.9\n420,0.8\n410,0.7\n430,0.6\n",
        r":4: wavelengths turn back from 420 to 410 nm; keep one",
    ),
    "to and fro, falling": (
        "nm,T\n430,0.9\n410,0.8\n420,0.7\n400,0.6\n",
        r":4: wavelengths turn back from 410 to 420 nm; keep one",
    ),
    "two scans": ("nm,T\n400,0.9\n410,1\n420,1\n400,1\n410,1\n420,1\n", r":5: 400 nm"),
    "micrometres": (
        "um,T\n0.38,0.9\n0.58,0.8\n0.78,0.7\n",
        r"0.38 to 0.78 look like micrometres; .* by 1000",
    ),
    "wavenumbers": ("Wavenumber [cm-1],T\n12000,0.9\n13000,1\n", r":1: .*wavenumbers"),
    "one column": ("T\n0.9\n0.8\n", r":2: the file has one column"),
    "one row": ("nm,T\n400,0.9\n", r":2: the table has one row"),
    "no table": ("measured by me\non Monday\n", r"has no row with a wavelength"),
    "only delimiters": (";;;\n;;\n", r"has no row with a wavelength"),
    "empty": ("  \n\n", r"is empty"),
    "ratio or percent": (
        "nm,T\n400,1.3\n410,0.8\n",
        r'largest value is 1.3, too large .* write "%" or "ratio"',
    ),
    "two kinds of commas": (
        "380,0,91\n390,0,92\n",
        r':1: "380,0,91" may have decimal commas .* put semicolons',
    ),
    "two kinds of commas, header": (
        "# film\nnm,T\n380,0,91\n390,0,92\n",
        r":2: the header names 2 columns and the rows have 3; .*semicolons",
    ),
    "a header too short": (
        "nm;T\n380;0.9;0.8\n390;0.9;0.8\n",
        r":1: .*names 2 columns",
    ),
    "absorptance": ("nm,Absorptance\n400,0.9\n410,0.8\n", r":1: .*not the decadic"),
    "absorption": ("nm,Absorption %\n400,9\n410,8\n", r":1: .*not the decadic"),
    "photons": ("nm,Photon flux\n400,9\n410,8\n", r":1: .*counts photons; divide"),
    "decibel": ("nm,T [dB]\n400,-3\n410,-4\n", r":1: .*decibel"),
    "per cm": (
        "nm,Absorbance [1/cm]\n400,3\n410,4\n",
        r":1: .*per cm; divide it by 10",
    ),
    "Napierian": ("nm,Absorbance (ln)\n400,3\n410,4\n", r":1: .*Napierian; .* 2.3026"),
    "absorbance %": ("nm,A [%]\n400,3\n410,4\n", r":1: .*absorbance in percent"),
    "long line": ("nm,T\n400," + "9" * 100_001, r":2: this line is too long"),
}


@pytest.mark.parametrize(("text", "message"), REFUSED.values(), ids=REFUSED.keys())
def test_a_table_is_refused(write, text, message):
    with pytest.raises(SpectrumError, match=r"film\.csv" + (".*" + message)):
        read_measured(write(text))


def test_text_that_is_not_utf_8_is_refused(write):
    path = write("nm,T at 23 °C\n400,0.9\n410,0.8\n".encode("latin-1"))
    with pytest.raises(SpectrumError, match=r"film\.csv:1: .*not UTF-8.*save"):
        read_measured(path)


def test_a_huge_file_is_refused_unread(tmp_path):
    path = tmp_path / "film.csv"
    with path.open("wb") as file:
        file.truncate(50_000_001)
    with pytest.raises(SpectrumError, match="has 50 MB; such a file has at most 50"):
        read_measured(path)


def test_other_names_are_refused(write, tmp_path):
    with pytest.raises(SpectrumError, match=r'"film\.xlsx".*save the table as \.csv'):
        read_measured(write("x", "film.xlsx"))
    with pytest.raises(SpectrumError, match=r"cannot read .*check its name"):
        read_measured(tmp_path / "missing.csv")
    with pytest.raises(SpectrumError, match='asked for "absorbence"; did you mean'):
        read_measured(write("nm,T\n400,1\n410,1\n"), expected="absorbence")


def test_messages_show_no_control_characters(write):
    path = write("nm,T\n400,0.9\n410,\x1b[31mred\x07" + "x" * 90 + "\n420,0.8\n")
    with pytest.raises(SpectrumError) as caught:
        read_measured(path)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 160


# ---- any table in any dialect ----------------------------------------------------

DIALECTS = (
    *((",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")),
    *((" ", "."), (" ", ","), ("   ", "."), (" ; ", ","), (", ", ".")),
)


@st.composite
def tables(draw):
    """Rows of invented numbers and the text of a file that holds them."""
    thousandths = draw(
        st.lists(st.integers(200_000, 1_100_000), min_size=2, max_size=30, unique=True)
    )
    # 0.02 nm apart at least, since closer rows are refused as the same
    wavelengths = sorted({round(t / 20) * 20 / 1000 for t in thousandths})
    if len(wavelengths) < 2:
        wavelengths = [400.0, 401.0]
    count = len(wavelengths)
    number = st.floats(-1e6, 1e6, allow_nan=False, allow_infinity=False)
    columns = draw(
        st.lists(
            st.lists(number, min_size=count, max_size=count), min_size=1, max_size=3
        )
    )
    delimiter, decimal = draw(st.sampled_from(DIALECTS))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    rows = [
        delimiter.join(repr(float(cell)).replace(".", decimal) for cell in row)
        for row in zip(wavelengths, *columns, strict=True)
    ]
    rows = rows[::-1] if draw(st.booleans()) else rows
    names = ["nm", "power", "x", "y"][: len(columns) + 1]
    head = [delimiter.join(names)] if draw(st.booleans()) else []
    before = draw(st.sampled_from([[], ["# a comment"], ["Report", "", "Gain: high"]]))
    mark = "\ufeff" if draw(st.booleans()) else ""
    text = mark + end.join([*before, *head, *rows]) + draw(st.sampled_from(["", end]))
    return wavelengths, columns[0], text


@settings(max_examples=80, deadline=None)
@given(tables())
def test_any_dialect_gives_the_same_numbers(tmp_path_factory, table):
    wavelengths, values, text = table
    path = tmp_path_factory.getbasetemp() / "dialect.txt"
    path.write_bytes(text.encode("utf-8"))
    found = read_measured(path, expected="power")
    assert found.wavelengths.tolist() == wavelengths
    assert found.values.tolist() == values
    assert found.quantity == "power"


@settings(max_examples=80, deadline=None)
@given(st.text(alphabet="0123456789.,;\t eE-#\nnmT%", max_size=120))
def test_any_text_is_read_or_refused_with_our_error(tmp_path_factory, text):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_text(text, encoding="utf-8")
    try:
        found = read_measured(path)
    except SpectrumError as refusal:
        assert "any.csv" in str(refusal)  # noqa: PT017  (both ends are right)
    else:
        assert (np.diff(found.wavelengths) > 0).all()


# ---- IES TM-27 -------------------------------------------------------------------


def write_tm27(path, wavelengths, values, **attributes):
    """Let colour-science write a file with a header that must not be shown."""
    header = colour.io.Header_IESTM2714(
        manufacturer="Invented Maker", description="Invented lamp"
    )
    spectrum = colour.SpectralDistribution_IESTM2714(
        str(path), header=header, **attributes
    )
    spectrum.wavelengths, spectrum.values = wavelengths, values
    spectrum.write()
    return path


def tm27(rows, quantity="transmittance"):
    """Write the smallest text of a TM-27 file."""
    data = "\n".join(
        f'<SpectralData wavelength="{w}">{v}</SpectralData>' for w, v in rows
    )
    return (
        '<IESTM2714 xmlns="iestm2714" version="1.0">\n<SpectralDistribution>'
        f"<SpectralQuantity>{quantity}</SpectralQuantity>\n{data}\n"
        "</SpectralDistribution></IESTM2714>"
    )


def test_tm27_is_read(tmp_path):
    values = np.round(line_shape(AXIS), 6)
    path = write_tm27(
        *(tmp_path / "lamp.spdx", AXIS, values),
        spectral_quantity="irradiance",
        bandwidth_FWHM=7.5,
        bandwidth_corrected=False,
    )
    found = read_measured(path)
    assert found.wavelengths.tolist() == AXIS.tolist()
    assert found.values.tolist() == values.tolist()
    assert found.quantity == "power"
    assert found.notes[:2] == (
        "read 81 rows, 380-780 nm in 5 nm steps",
        "spectral quantity taken as power",
    )
    assert "bandpass of 7.5 nm, not corrected" in found.notes[2]
    shown = " ".join([*found.notes, *map(str, [found.source])])
    assert "Invented" not in shown


@pytest.mark.parametrize(
    ("stated", "quantity"),
    [
        ("T-Factor", "transmittance"),
        ("reflectance", "reflectance"),
        ("R-Factor", "reflectance"),
        ("relative", "power"),
        ("other", "unknown"),
        ("something new", "unknown"),
    ],
)
def test_tm27_quantities(write, stated, quantity):
    text = tm27([(400, 0.5), (410, 0.25)], stated)
    assert read_measured(write(text, "a.spdx")).quantity == quantity


def test_tm27_percent(write):
    found = read_measured(write(tm27([(400, 60), (410, 80)]), "a.spdx"))
    assert found.values.tolist() == [0.6, 0.8]


REFUSED_TM27 = {
    "hole": (tm27([(400, 0.5), (410, ""), (420, 1)]), r":4: .*lacks a value"),
    "NaN": (tm27([(400, 0.5), (410, "nan")]), r":4: .*lacks a value"),
    "no wavelength": (tm27([(400, 0.5), ("", 1)]), r":4: .*lacks a wavelength"),
    "text": (tm27([(400, 0.5), (410, "high")]), r"no TM-27 spectrum.*export it as"),
    "duplicate": (tm27([(400, 0.5), (400, 1)]), r":4: 400 nm stands .* line 3"),
    "to and fro": (tm27([(400, 1), (420, 1), (410, 1), (430, 1)]), r":5: .*turn back"),
    "falling": (tm27([(410, 1), (400, 1)]), r":3: wavelengths fall"),
    "one row": (tm27([(400, 1)]), r":3: the table has one row"),
    "no rows": (tm27([]), r"no row of SpectralData"),
    "micrometres": (tm27([(0.4, 1), (0.5, 1)]), r"look like micrometres"),
    "absorptance": (tm27([(400, 1), (500, 1)], "absorptance"), r"holds absorptance"),
    "no XML": ("400 0.5\n410 0.6\n", r":1: no XML"),
    "cut off": (tm27([(400, 1), (500, 1)])[:-20], r"no XML"),
    "no namespace": (
        tm27([(400, 1), (500, 1)]).replace(' xmlns="iestm2714"', ""),
        r"no TM-27 spectrum",
    ),
    "two namespaces": (
        tm27([(400, 1), (500, 1)]).replace(
            "<SpectralData ", '<SpectralData xmlns="other" ', 1
        ),
        r"mixes XML namespaces",
    ),
}


@pytest.mark.parametrize(
    ("text", "message"), REFUSED_TM27.values(), ids=REFUSED_TM27.keys()
)
def test_tm27_is_refused(write, text, message):
    with pytest.raises(SpectrumError, match=r"a\.spdx" + (".*" + message)):
        read_measured(write(text, "a.spdx"))


BOMB = (
    '<!DOCTYPE b [<!ENTITY a "0">'
    + "".join(f'<!ENTITY a{i} "{f"&a{i - 1 or str()};" * 10}">' for i in range(1, 9))
    + "]>"
)


@pytest.mark.parametrize(
    ("encoding", "message"),
    [
        ("utf-8", "declares a DOCTYPE"),
        ("utf-16-le", "declares a DOCTYPE"),  # without a mark it passes for UTF-8
        ("utf-16", "not UTF-8"),
        ("cp037", "not UTF-8"),
    ],
)
def test_declarations_are_refused_in_any_encoding(write, encoding, message):
    body = BOMB + tm27([(400, "&a8;"), (410, 1)])
    first = f'<?xml version="1.0" encoding="{encoding}"?>\n'
    content = {
        "utf-8": (first + body).encode(),
        "utf-16-le": (first.replace("utf-16-le", "utf-16") + body).encode("utf-16-le"),
        "cp037": first.encode() + body.encode("cp037"),
        "utf-16": (first + body).encode("utf-16"),
    }[encoding]
    with pytest.raises(SpectrumError, match=message):
        read_measured(write(content, "a.spdx"))


def test_an_outside_entity_is_refused(write):
    text = '<!DOCTYPE b SYSTEM "file:///nowhere.dtd">\n' + tm27([(400, 1), (410, 1)])
    with pytest.raises(SpectrumError, match=r":1: this file declares a DOCTYPE"):
        read_measured(write(text, "a.spdx"))


def test_a_large_tm27_file_is_refused(write):
    with pytest.raises(SpectrumError, match="has 4 MB; such a file has at most 4 MB"):
        read_measured(write(b"<" + b" " * 4_000_000, "a.spdx"))


# ---- to the grid: second implementation and theory -------------------------------


@pytest.mark.parametrize("key", ["LED-B3", "LED-RGB1", "LED-V1"])
def test_interpolation_agrees_with_colour_science(key):
    lamp = colour.SDS_ILLUMINANTS[key].copy()
    assert lamp.shape.interval == 5
    ours, _ = to_grid(
        record(lamp.values, wavelengths=lamp.wavelengths, quantity="power"),
        quantity="power",
    )
    lamp.interpolate(
        colour.SpectralShape(380, 780, 1), interpolator=colour.CubicSplineInterpolator
    )
    assert ours == pytest.approx(lamp.values.clip(0), abs=1e-10 * lamp.values.max())


def test_interpolation_stays_within_the_error_of_a_cubic():
    # Error bounds with f = 2^(-4 (x/w)^2), a Gaussian of sigma = w / 2.3548:
    # cubic spline 5/384 h^4 max|f''''| = 5/384 h^4 3/sigma^4 (Hall and Meyer,
    # J. Approx. Theory 16 (1976) 105, from memory); line h^2/8 max|f''|.
    sigma, step = 20 / 2.3548, 5.0
    bound = 5 / 384 * step**4 * 3 / sigma**4
    truth = line_shape(WAVELENGTHS)
    ours, notes = to_grid(record(line_shape(AXIS), quantity="power"), quantity="power")
    assert np.abs(ours - truth).max() < bound
    assert notes == ()
    for other in (
        np.interp(WAVELENGTHS, AXIS, line_shape(AXIS)),
        PchipInterpolator(AXIS, line_shape(AXIS))(WAVELENGTHS),
    ):
        assert np.abs(other - truth).max() > bound


@settings(max_examples=40)
@given(st.lists(st.floats(-1, 1), min_size=4, max_size=4))
def test_a_cubic_comes_back_exactly_from_any_steps(coefficients):
    axis = np.array([371.0, 380.5, 400, 403, 430, 470, 500, 511, 560, 600, 640, 690])
    axis = np.append(axis, [730.0, 760.0, 790.0])

    def cubic(wavelengths):
        return 0.5 + 0.1 * np.polyval(coefficients, (wavelengths - 580) / 210)

    ours, _ = to_grid(record(cubic(axis), wavelengths=axis), quantity="transmittance")
    assert ours == pytest.approx(cubic(WAVELENGTHS), abs=1e-12)


def test_values_on_the_grid_are_kept():
    values = np.linspace(0.1, 0.9, 401)
    ours, notes = to_grid(
        record(values, wavelengths=WAVELENGTHS, quantity="reflectance"),
        quantity="reflectance",
    )
    assert ours == pytest.approx(values, abs=1e-15)
    assert notes == ()


# ---- to the grid: limits ---------------------------------------------------------


def test_missing_ends_are_refused():
    axis = np.arange(400.0, 761.0, 5)
    short = record(np.full(axis.size, 0.5), wavelengths=axis)
    with pytest.raises(
        SpectrumError, match=r"invented\.csv covers 400-760 nm; 380-780 nm are needed"
    ):
        to_grid(short, quantity="transmittance")
    with pytest.raises(SpectrumError, match='asked for "extend"'):
        to_grid(short, quantity="transmittance", edges="extend")


def test_missing_ends_are_held_with_a_note():
    axis = np.arange(400.0, 761.0, 5)
    values = np.linspace(0.3, 0.7, axis.size)
    ours, notes = to_grid(
        record(values, wavelengths=axis), quantity="transmittance", edges="hold"
    )
    assert ours[:21] == pytest.approx(np.full(21, 0.3), abs=1e-15)
    assert ours[-21:] == pytest.approx(np.full(21, 0.7), abs=1e-15)
    assert ours[21] > 0.3
    assert notes == (
        "not measured: 380-400 nm held at the value of 400 nm",
        "not measured: 760-780 nm held at the value of 760 nm",
    )


def test_more_than_30_nm_is_never_held():
    axis = np.arange(411.0, 787.0, 5)
    with pytest.raises(SpectrumError, match="at most 30 nm at either end can be held"):
        to_grid(
            record(np.full(axis.size, 0.5), wavelengths=axis),
            quantity="transmittance",
            edges="hold",
        )


def test_overshoot_is_cut_and_noted():
    edge = np.where(AXIS < 550, 0.0, 1.0)  # a cubic swings by a tenth at a step
    swing = make_interp_spline(AXIS, edge, k=3)(WAVELENGTHS)
    ours, notes = to_grid(record(edge), quantity="transmittance")
    assert ours == pytest.approx(swing.clip(0, 1), abs=1e-12)
    assert swing.min() < -0.1
    low, high = WAVELENGTHS[[swing.argmin(), swing.argmax()]]
    assert notes == (
        f"transmittance down to {swing.min():.3g} at {low:g} nm set to 0",
        f"transmittance up to {swing.max():.4g} at {high:g} nm set to 1",
    )


def test_only_the_missing_end_is_held():
    for axis, note in (
        (AXIS[1:], "not measured: 380-385 nm held at the value of 385 nm"),
        (AXIS[:-1], "not measured: 775-780 nm held at the value of 775 nm"),
    ):
        short = record(np.full(80, 0.5), wavelengths=axis)
        ours, notes = to_grid(short, quantity="transmittance", edges="hold")
        assert ours == pytest.approx(np.full(401, 0.5), abs=1e-12)
        assert notes == (note,)


def test_two_rows_far_outside_leave_a_gap():
    bare = record([0.5, 0.5], wavelengths=[300.0, 800.0])
    with pytest.raises(SpectrumError, match="nothing between 300 and 800 nm"):
        to_grid(bare, quantity="transmittance")


def test_small_overshoot_is_cut_without_a_note():
    ours, notes = to_grid(record(np.full(81, 1.0015)), quantity="transmittance")
    assert ours.tolist() == [1.0] * 401
    assert notes == ()


def test_power_noise_below_zero_is_cut_relative_to_its_peak():
    values = 1000 * line_shape(AXIS) - 3
    ours, notes = to_grid(record(values, quantity="power"), quantity="power")
    assert ours.min() == 0
    assert ours.max() > 950
    assert notes[0].startswith("power down to -3")


@pytest.mark.parametrize(
    ("quantity", "values", "message"),
    [
        ("transmittance", np.linspace(-0.2, 1, 81), r"transmittance -0.2 at 380 nm"),
        ("transmittance", np.linspace(0.2, 1.2, 81), r"transmittance 1.2 at 780 nm"),
        ("reflectance", np.linspace(0.2, 1.2, 81), r"reflectance 1.2 at 780 nm"),
        ("absorbance", np.linspace(0, 30, 81), r"absorbance 30 at 780 nm"),
        ("absorbance", np.linspace(-0.2, 1, 81), r"absorbance -0.2 at 380 nm"),
        ("power", np.linspace(-5, 50, 81), r"power -5 at 380 nm"),
        ("power", np.full(81, -1.0), r"power -1 at 380 nm"),
    ],
)
def test_values_that_cannot_be_are_refused(quantity, values, message):
    with pytest.raises(SpectrumError, match=message + ", which is more than noise"):
        to_grid(record(values, quantity=quantity), quantity=quantity)


def test_values_outside_the_grid_do_not_count():
    axis = np.arange(300.0, 801.0, 5)
    values = np.where(axis < 340, -3.0, 0.5)
    ours, _ = to_grid(record(values, wavelengths=axis), quantity="transmittance")
    assert ours == pytest.approx(np.full(401, 0.5), abs=1e-3)


# ---- to the grid: steps ----------------------------------------------------------


def on_steps(step, shape, *, phase=0.0):
    axis = np.arange(380 - phase, 780 + step, step)
    return record(shape(axis), wavelengths=axis, quantity="power")


def test_steps_over_5_nm_are_noted():
    smooth = lambda axis: np.linspace(0.2, 0.9, axis.size)  # noqa: E731
    assert to_grid(on_steps(5, smooth), quantity="power")[1] == ()
    (ten,) = to_grid(on_steps(10, smooth), quantity="power")[1]
    assert ten == (
        "the widest step is 10 nm, after 380 nm; 10 nm data can be 4 CIEDE2000 off "
        "with a single-colour light"
    )
    (twenty,) = to_grid(on_steps(20, smooth), quantity="power")[1]
    assert "20 nm data can be 29 CIEDE2000 off" in twenty


@pytest.mark.parametrize("width", [10, 15, 20, 25, 30])
@pytest.mark.parametrize("phase", range(0, 20, 3))
def test_20_nm_steps_are_refused_for_narrow_lines_wherever_rows_fall(width, phase):
    shape = lambda axis: line_shape(axis, width=width)  # noqa: E731
    with pytest.raises(SpectrumError, match=r"steps of 20 nm and a line .* nm wide"):
        to_grid(on_steps(20, shape, phase=phase), quantity="power")


def test_20_nm_steps_are_refused_for_a_narrow_line_beside_a_broad_one():
    def white(axis):
        narrow = line_shape(axis, centre=450, width=22)
        return 0.8 * narrow + line_shape(axis, centre=590, width=110)

    with pytest.raises(SpectrumError, match=r"a line .* nm wide"):
        to_grid(on_steps(20, white), quantity="power")


@pytest.mark.parametrize("phase", range(0, 20, 3))
def test_20_nm_steps_do_for_broad_lines_and_for_films(phase):
    broad = on_steps(20, lambda axis: line_shape(axis, width=90), phase=phase)
    assert len(to_grid(broad, quantity="power")[1]) == 1
    axis = broad.wavelengths
    film = record(0.9 * line_shape(axis, width=25), wavelengths=axis)
    notes = to_grid(film, quantity="transmittance")[1]
    assert "the widest step is 20 nm" in notes[0]


def test_20_nm_steps_do_for_a_light_that_runs_out_of_the_grid():
    rising = on_steps(20, lambda axis: line_shape(axis, centre=775, width=200))
    assert len(to_grid(rising, quantity="power")[1]) == 1


def test_a_wide_gap_is_refused():
    axis = np.array([*np.arange(380.0, 500.0, 5), *np.arange(560.0, 781.0, 5)])
    with pytest.raises(SpectrumError, match="nothing between 495 and 560 nm"):
        to_grid(
            record(np.full(axis.size, 0.5), wavelengths=axis), quantity="transmittance"
        )


def test_wide_steps_outside_the_grid_do_not_count():
    axis = np.array([200.0, 300.0, *np.arange(375.0, 786.0, 5), 900.0])
    found = record(np.full(axis.size, 0.5), wavelengths=axis)
    assert to_grid(found, quantity="transmittance")[1] == ()


# ---- to the grid: quantities -----------------------------------------------------


def test_transmittance_and_absorbance_turn_into_each_other():
    found, notes = to_grid(
        record(np.full(81, 2.0), quantity="absorbance"), quantity="transmittance"
    )
    assert found == pytest.approx(
        np.full(401, 0.01), rel=1e-12
    )  # decadic, by definition
    assert notes == ("absorbance turned into transmittance",)
    found, notes = to_grid(record(np.full(81, 0.01)), quantity="absorbance")
    assert found == pytest.approx(np.full(401, 2.0), rel=1e-12)
    assert notes == ("transmittance turned into absorbance, faces not taken off",)


def test_dark_transmittance_is_floored_with_a_note():
    values = 0.5 / (1 + np.exp((500 - AXIS) / 8)) - 0.001
    found, notes = to_grid(record(values), quantity="absorbance")
    assert found[:45] == pytest.approx(np.full(45, 4.0), abs=1e-12)
    assert np.isfinite(found).all()
    assert notes[-1].startswith("transmittance below 0.0001 at ")
    assert notes[-1].endswith(" nm taken as 0.0001, absorbance 4")


@pytest.mark.parametrize(
    ("held", "asked", "what"),
    [
        ("reflectance", "transmittance", "reflectance"),
        ("transmittance", "power", "transmittance"),
        ("power", "absorbance", "power"),
        ("unknown ratio", "absorbance", "percent or ratio of something"),
    ],
)
def test_other_quantities_are_refused(held, asked, what):
    with pytest.raises(SpectrumError, match=f"asked for {asked}, but .* holds {what}"):
        to_grid(record(np.full(81, 0.5), quantity=held), quantity=asked)


def test_an_unknown_quantity_is_taken_as_asked():
    found = record(np.full(81, 50.0), quantity="unknown")
    values, notes = to_grid(found, quantity="reflectance")
    assert values == pytest.approx(np.full(401, 0.5), abs=1e-12)
    assert notes[0] == "nothing names the quantity; taken as reflectance, as asked"
    assert notes[1].startswith("percent turned into ratio because the largest is 50")
    assert to_grid(found, quantity="power")[0] == pytest.approx(np.full(401, 50.0))


def test_an_unknown_ratio_is_no_absorbance_even_when_expected(write):
    rows = "".join(f"{w:g};50\n" for w in AXIS)
    found = read_measured(write("nm;film [%]\n" + rows), expected="absorbance")
    assert found.quantity == "unknown ratio"
    with pytest.raises(SpectrumError, match="name the right column in its header"):
        to_grid(found, quantity="absorbance")


def test_the_notes_of_the_file_come_first(write):
    rows = "".join(f"{w:g},0.5\n" for w in np.arange(380, 781, 10))
    found = read_measured(write("nm,T\n" + rows))
    notes = to_grid(found, quantity="transmittance")[1]
    assert notes[: len(found.notes)] == found.notes
    assert notes[len(found.notes) :][0].startswith("the widest step is 10 nm")


# ---- faces -----------------------------------------------------------------------


def slab(*, internal, index):
    """Sum the bounces between two faces one by one."""
    R = normal_reflectance(n_from=1.0, n_into=index)
    bounces = ((1 - R) ** 2 * internal * (R * internal) ** (2 * k) for k in range(40))
    return sum(bounces)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
@pytest.mark.parametrize("index", [1.0, 1.41, 1.5, 1.57, 2.5])
def test_taking_the_faces_off_undoes_the_sum_of_the_bounces(shape, index):
    internal = np.linspace(0.0, 1.0, max(int(np.prod(shape)), 2))[
        -int(np.prod(shape)) :
    ]
    internal = internal.reshape(shape)
    total = slab(internal=internal, index=index)
    found = internal_transmittance(total, index=index)
    assert found.shape == shape
    assert found == pytest.approx(internal, abs=1e-12)


@given(st.floats(0, 1), st.floats(1, 3))
def test_taking_the_faces_off_holds_for_every_body(internal, index):
    total = slab(internal=internal, index=index)
    assert internal_transmittance(total, index=index) == pytest.approx(
        internal, abs=1e-12
    )


def test_a_clear_slab_of_index_1_5_lets_12_13_through():
    # closed form: (1 - R) / (1 + R) = 2 n / (n^2 + 1) = 12/13 at n = 3/2
    assert internal_transmittance(12 / 13, index=1.5) == pytest.approx(1.0, abs=1e-14)


def test_the_index_may_vary_with_wavelength():
    internal, index = np.full(401, 0.7), np.linspace(1.52, 1.48, 401)
    total = slab(internal=internal, index=index)
    assert internal_transmittance(total, index=index) == pytest.approx(internal)


def test_more_light_than_the_faces_let_pass_is_refused():
    with pytest.raises(SpectrumError, match=r"reaches 0\.970, more than the faces"):
        internal_transmittance([0.5, 0.97], index=1.5)
    for values, index in ((1.1, 1.5), (-0.1, 1.5), (np.nan, 1.5), (0.5, 0.9)):
        with pytest.raises(SpectrumError, match="outside 0 to 1 or with an index"):
            internal_transmittance(values, index=index)


# ---- quiet -----------------------------------------------------------------------


def test_reading_leaves_the_warning_filters_as_they_were(write):
    before = warnings.filters[:]
    read_measured(write(tm27([(400, 0.5), (410, 0.25)]), "a.spdx"))
    assert warnings.filters == before
