"""What the commands share: options, printing, progress; no arithmetic."""

import os
import sys
from pathlib import Path
from typing import Any

import click

CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 90}
FILE = click.Path(path_type=Path)

shelf_option = click.option(
    "--shelf",
    "own_shelf",
    type=FILE,
    multiple=True,
    metavar="DIR",
    help="Your own materials; looked at first. May be given more than once.",
)
plot_option = click.option("--plot", type=FILE, metavar="PNG", help="Draw the answer.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def say(text: str) -> None:
    """Print with colours on a terminal only, and never with NO_COLOR set."""
    colours = sys.stdout.isatty() and not os.environ.get("NO_COLOR")
    click.echo(text, color=colours)


def draw(figure: Any, path: Path) -> None:
    """Write a figure and say so."""
    from tintlab.report.plot import save

    save(figure, path)
    click.echo(f"wrote {path}", err=True)


def progress(stage: str) -> None:
    """Show on a terminal what is being done."""
    if sys.stderr.isatty():
        click.echo(f"\r\x1b[2K{stage} ...", err=True, nl=False)
        if stage == "done":
            click.echo("\r\x1b[2K", err=True, nl=False)
