"""The shelf: finds a material by name, reads its TOML file and checks it."""

from tintlab.shelf.find import (
    KINDS,
    LONGEST,
    Shelf,
    begun,
    open_shelf,
    shelf_for,
    shipped,
    slug,
)

__all__ = [
    "KINDS",
    "LONGEST",
    "Shelf",
    "begun",
    "open_shelf",
    "shelf_for",
    "shipped",
    "slug",
]
