"""Private parts of `stops`."""
