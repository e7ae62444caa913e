"""Insets for the tests, written as a maker writes them."""

import textwrap

import pytest

from tintlab.inset import read_inset
from tintlab.shelf import shelf_for


@pytest.fixture
def inset_of(tmp_path):
    """Return a function that reads an inset from TOML text."""

    def read(text, *, name="piece"):
        path = tmp_path / f"{name}.toml"
        path.write_text(f'name = "{name}"\n' + textwrap.dedent(text), encoding="utf-8")
        return read_inset(path, shelf_for(path))

    return read
