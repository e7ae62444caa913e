"""The colour of a lit, dyed, translucent inset, before the resin is poured."""

__version__ = "0.1.0"
