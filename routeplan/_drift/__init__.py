"""Private parts of `leeway`."""
