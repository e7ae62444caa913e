"""Print the bench card of this demo as a small picture, card.png.

Run it from anywhere: python demo/tide-bell/make_card.py
"""

from pathlib import Path

from PIL import Image

from tintlab.cli import main

HERE = Path(__file__).resolve().parent
COLOURS = 64  # keep the swatches and the grey edges of the letters


def make() -> None:
    """Write card.png beside this file."""
    path = HERE / "card.png"
    words = ["card", str(HERE / "tide-bell.toml"), "-o", str(path)]
    main([*words, "--date", "2026-11-25"], standalone_mode=False)
    with Image.open(path) as whole:
        small = whole.convert("RGB").quantize(COLOURS)
    small.save(path, optimize=True)
    print(f"{path.name}: {path.stat().st_size // 1000} kB")


if __name__ == "__main__":
    make()
