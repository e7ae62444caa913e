"""A published number and its source, kept together.

The printed string sets both the expected value and the tolerance (half of its last
digit); the source is the test's id, so that a failure names the table it breaks.
"""

from dataclasses import dataclass, field
from typing import Any

import pytest


@dataclass(frozen=True, kw_only=True)
class Published:
    """One printed value, what it was computed from, and where it stands."""

    source: str
    printed: str
    given: dict[str, Any] = field(default_factory=dict)
    tolerance: float | None = None

    @property
    def expected(self):
        """The printed value as a number."""
        return float(self.printed)

    @property
    def half_digit(self):
        """Half of the last printed digit, or the source's own tolerance."""
        if self.tolerance is not None:
            return self.tolerance
        mantissa, _, exponent = self.printed.lower().partition("e")
        decimals = len(mantissa.partition(".")[2])
        return 0.5000001 * 10.0 ** (int(exponent or 0) - decimals)


def published(*checks):
    """Run the decorated test once for each published value."""
    return pytest.mark.parametrize(
        "check", checks, ids=[f"{c.source} [{c.printed}]" for c in checks]
    )
