"""Private parts of `providers`."""
