"""What is not known about a piece, as normal numbers; see also test_spread.py."""

import numpy as np

from tintlab.causes import Z95, blank, causes_of
from tintlab.piece import piece_of

CAST = """
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "white 4100 K"
    lumens = 5
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    thickness = "10 mm"
    batch = "100 g"
    dyes = [{ bottle = "blue resin dye", dose = "0.1 g" }]
"""


def test_unknown_bottle_has_a_factor_of_three(inset_of):
    """Log-normal, 5-95 % from one third to three times (design of the shelf)."""
    inset = inset_of(CAST)
    piece = piece_of(inset)
    only = next(c for c in causes_of(inset, piece) if c.kind == "strength")
    z = np.array([-Z95, Z95])
    scale = only.move(blank(2, piece), z).scale[:, 0]
    np.testing.assert_allclose(scale, [1 / 3, 3], rtol=1e-12)
    assert only.unmeasured
