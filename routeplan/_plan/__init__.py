"""Private parts of `plan`."""
