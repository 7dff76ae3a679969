"""Private parts of `forecast` and `sampling`."""
