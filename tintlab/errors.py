"""Every error raised on purpose.

A message is one sentence: what was asked, what we have, what to do. The command
line prints it as one line and never shows a traceback for it.
"""


class TintlabError(ValueError):
    """Anything a maker or a caller can mend; the base of the family."""


class SpectrumError(TintlabError):
    """A spectrum that cannot be used as asked: range, holes, order, units."""


class ShelfError(TintlabError):
    """A material that is missing or whose file cannot be read."""


class InsetError(TintlabError):
    """An inset file that does not say what it should."""


class ModelError(TintlabError):
    """A piece that the optics cannot describe."""


class OutOfReach(TintlabError):
    """The wish is clear, but no light, dye or film can fulfil it."""


class PageError(TintlabError):
    """Something that the page may not or cannot do with a file or the network."""
