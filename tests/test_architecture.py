"""Imports point one way, and heavy libraries stay in their one place."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "tintlab"
MODULES = sorted(PACKAGE.rglob("*.py"))

# each room and what it may import of ours; a room may always import itself
ALLOWED = {
    "errors": set(),
    "spectrum": {"errors"},
    "document": {"errors"},
    "units": {"errors"},
    "uptake": set(),
    "starved": {"errors", "spectrum"},
    "optics": {"errors"},
    "colorimetry": {"errors", "spectrum"},
    "yardstick": {"colorimetry"},
    "measured": {"errors", "spectrum", "document"},
    "picture": {"errors", "colorimetry"},
    "materials": {"spectrum"},
    "colourants": {"errors", "spectrum", "optics", "materials"},
    "shelf": {
        *("errors", "spectrum", "document", "colorimetry", "materials", "measured"),
        *("colourants", "spectra"),
    },
    "inset": {
        *("errors", "document", "units", "colorimetry", "materials", "shelf"),
        *("colourants", "picture"),
    },
    "piece": {
        *("spectrum", "optics", "colorimetry", "materials", "colourants", "inset"),
        *("uptake",),
    },
    "glow": {
        *("spectrum", "optics", "colorimetry", "materials", "inset", "piece"),
        *("yardstick",),
    },
    "causes": {"spectrum", "colourants", "inset", "piece"},
    "spread": {
        *("spectrum", "colorimetry", "materials", "inset", "piece", "glow"),
        *("colourants", "causes", "yardstick"),
    },
    "verdict": {
        *("spectrum", "optics", "colorimetry", "materials", "inset", "piece"),
        *("colourants", "glow", "causes", "spread", "yardstick", "starved"),
    },
    "cautions": {"inset", "materials", "colourants"},
    "circuit": set(),
    "power": {
        *("errors", "document", "colorimetry", "materials", "shelf", "units"),
        *("inset", "piece", "glow", "yardstick", "circuit"),
    },
    "solve": {
        *("errors", "spectrum", "optics", "colorimetry", "materials", "shelf"),
        *("units", "inset", "piece", "glow", "causes", "spread", "verdict"),
        *("yardstick", "document", "starved", "uptake", "colourants"),
    },
    "chips": {
        *("errors", "spectrum", "optics", "colorimetry", "materials", "shelf"),
        *("units", "inset", "piece", "glow", "causes", "spread", "yardstick"),
        *("document", "solve", "measured", "uptake", "colourants"),
    },
    "report": {
        *("errors", "spectrum", "document", "optics", "colorimetry", "materials"),
        *("shelf", "units", "inset", "glow", "spread", "verdict", "solve"),
        *("yardstick", "cautions", "starved", "chips", "colourants"),
        *("power", "circuit", "proof", "piece"),
    },
    "proof": {
        *("errors", "spectrum", "document", "optics", "colorimetry", "materials"),
        *("shelf", "units", "inset", "piece", "glow", "spread", "verdict"),
        *("yardstick", "picture", "chips", "starved", "colourants"),
    },
    "cli_parts": {"report"},
    "cli_shelf": {"cli_parts", "report", "shelf"},
    "cli_card": {"cli_parts", "report", "shelf", "inset", "units", "verdict", "power"},
    "page": {
        *("errors", "document", "units", "colorimetry", "materials", "shelf", "inset"),
        *("piece", "glow", "verdict", "cautions", "solve", "chips", "proof", "report"),
        *("picture", "power"),
    },
    "cli_page": {"cli_parts", "errors", "page"},
    "cli_proof": {"cli_parts", "errors", "inset", "shelf", "proof", "report"},
    "cli_chip": {"cli_parts", "errors", "chips", "report", "shelf", "inset", "units"},
    "cli": {
        *("errors", "report", "shelf", "inset", "verdict", "solve", "piece", "units"),
        *("cli_chip", "cli_page", "cli_card", "cli_proof", "cli_shelf", "cli_parts"),
        "power",
    },
}
HEAVY = {
    "colour": {"colorimetry", "measured"},
    "matplotlib": {"report"},
    "scipy.optimize": {"solve", "chips"},
    "scipy": {"solve", "measured", "chips", "proof", "circuit"},
    "PIL": {"picture", "chips", "proof", "inset"},
}
# imports inside functions, besides the command line and colour-science's one place
LAZY = {
    ("shelf", "measured"): "needs scipy, which a plain glow does not wait for",
    ("inset", "picture"): "needs Pillow, only for a target taken from a picture",
    ("measured", "colour"): "only for spectra in the standard XML format",
    ("report", "plot"): "needs matplotlib",
}


def room(path):
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return parts[0]


def imports(path):
    """Yield every imported module of a file as a dotted name, and its depth."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    top = set(map(id, tree.body))
    for node in ast.walk(tree):
        inside = id(node) not in top
        if isinstance(node, ast.Import):
            yield from ((alias.name, inside) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "tintlab":
                yield from ((f"tintlab.{a.name}", inside) for a in node.names)
            else:
                yield node.module, inside
                if node.module and node.module.count(".") == 0:
                    yield from ((f"{node.module}.{a.name}", inside) for a in node.names)


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_point_one_way(path):
    here = room(path)
    if here in ("__init__", "__main__"):
        return
    for name, inside in imports(path):
        parts = name.split(".")
        if parts[0] == "tintlab" and len(parts) > 1 and parts[1] != here:
            if parts[1].startswith("__"):
                continue
            assert parts[1] in ALLOWED[here], f"{here} may not import {name}"
            if inside and not here.startswith("cli"):
                assert (here, parts[1]) in LAZY, f"{here} imports {name} in a function"
        for heavy, places in HEAVY.items():
            if name == heavy or name.startswith(heavy + "."):
                assert here in places, f"{here} may not import {name}"


def test_every_room_is_ruled():
    rooms = {room(path) for path in MODULES} - {"__init__", "__main__"}
    assert rooms == set(ALLOWED)


def test_only_plots_import_matplotlib():
    for path in MODULES:
        if any(name.startswith("matplotlib") for name, _ in imports(path)):
            assert path.name in (
                "plot.py",
                "charts.py",
                "card_draw.py",
                "facemap.py",
                "strip_plot.py",
            )


def test_only_photos_import_pillow():
    for path in MODULES:
        if any(name.split(".")[0] == "PIL" for name, _ in imports(path)):
            assert path.name.startswith(("picture", "photo"))


@pytest.mark.parametrize(
    ("command", "absent"),
    [
        ("import tintlab.cli", "numpy"),
        ("import tintlab.verdict, tintlab.report.data, tintlab.report.text", "scipy"),
        ("import tintlab.verdict, tintlab.report.data", "colour"),
        ("import tintlab.verdict, tintlab.report.data", "matplotlib"),
        ("import tintlab.optics", "tintlab.spectrum"),
    ],
)
def test_start_up_stays_light(command, absent):
    code = f"{command}, sys" if command.startswith("import") else command
    code += f"; sys.exit({absent!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


# pictures, dialogues, working copies, the browser, a file for bytes
OTHER_OPENS = (
    *("Image.open", ".open()", "books.open(", "self.open(", "webbrowser.open("),
    '.open("xb")',
)


def test_text_files_name_their_encoding():
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        for call in ("open(", "read_text(", "write_text("):
            for line in text.splitlines():
                if f".{call}" in line and not any(o in line for o in OTHER_OPENS):
                    assert "encoding" in line or "document" in line, f"{path}: {line}"
