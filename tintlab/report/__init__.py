"""Everything that is shown: text, JSON, plots."""
