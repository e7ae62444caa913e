"""Searches: from a wanted colour back to what to do."""
