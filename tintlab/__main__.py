"""Run the command line with `python -m tintlab`."""

from tintlab.cli import main

main(prog_name="tintlab")
