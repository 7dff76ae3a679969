"""Private parts of `rules` and `provisions`."""
