"""How long a move of a slider takes to repaint the page, in Chromium.

Run by hand: `python tests/benchmarks/bench_page.py`. Each move is a step of the
slider of a dose; the clock stops at the frame that shows the new swatch. The times are
printed beside the one look that the page waits for, in the same process conditions.
"""

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "page"))

from browser import DEMO, chromium, served

from tintlab.inset import read_inset
from tintlab.page.tab import seen
from tintlab.shelf import shelf_for

MOVES = 40
SIZE = {"dose of sea blue": 1.0, "dose of ember": 0.1}  # of one move
MOVE = """
([name, step]) => new Promise((done) => {
  const slider = document.querySelector(`[aria-label="${name}"]`);
  const glow = () => document.querySelector('.viewing rect.glow').getAttribute('fill');
  const painted = () => glow()
    + document.querySelector('#difference').textContent
    + document.querySelector('.spectrum path').getAttribute('d');
  const before = painted();
  const start = performance.now();
  const watch = () => painted() !== before
    ? requestAnimationFrame(() => done(performance.now() - start))
    : performance.now() - start > 3000 ? done(null) : setTimeout(watch, 1);
  slider.value = slider.valueAsNumber + step;
  slider.dispatchEvent(new Event('input', {bubbles: true}));
  watch();
})
"""


def clear_piece(folder: Path) -> None:
    """Write the tide bell without its diffuser."""
    text = (folder / "tide-bell/tide-bell.toml").read_text(encoding="utf-8")
    first = text.index("[[layer]]")
    third = text.index("[[layer]]", text.index("[[layer]]", first + 1) + 1)
    (folder / "tide-bell/clear.toml").write_text(
        text[:first] + text[third:], encoding="utf-8"
    )


def one_look(path: Path) -> float:
    """Median time of what the page computes for one repaint. [ms]"""
    shelf = shelf_for(path)
    times = []
    for _ in range(12):
        start = time.perf_counter()
        seen(read_inset(path, shelf))
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def moves(browser: object, address: str, slider: str) -> list[float]:
    """Times from the move to the painted frame. [ms]"""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(address)
    page.wait_for_selector("#difference")
    page.wait_for_timeout(2500)
    times = []
    for number in range(MOVES):
        step = 1 if number % 8 < 4 else -1
        took = page.evaluate(MOVE, [slider, step * SIZE[slider]])
        if took is not None:
            times.append(took)
        page.wait_for_timeout(60)
    page.close()
    return times


def main() -> None:
    """Print a row for each sort of stack."""
    with tempfile.TemporaryDirectory() as place, chromium() as browser:
        folder = Path(place) / "demo"
        shutil.copytree(DEMO, folder)
        clear_piece(folder)
        rows = (
            ("clear", "tide-bell/clear.toml", "dose of sea blue"),
            ("scattering", "tide-bell/tide-bell.toml", "dose of sea blue"),
            ("frosted", "kiln-mask/ember-thick.toml", "dose of ember"),
        )
        for name, file, slider in rows:
            with served(folder / file) as server:
                times = moves(browser, server.address, slider)
            look = one_look(folder / file)
            middle = statistics.median(times)
            worst = sorted(times)[int(len(times) * 0.9)]
            print(
                f"{name:<12} repaint {middle:6.1f} ms median, {worst:6.1f} ms 90 %, "
                f"{len(times)} moves; one look {look:6.1f} ms; ratio "
                f"{middle / look:.1f}"
            )


if __name__ == "__main__":
    main()
