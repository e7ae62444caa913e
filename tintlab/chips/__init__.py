"""Test chips: plan them, read their picture, learn from them."""
