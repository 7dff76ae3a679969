"""Private parts of `limits` and `windows`."""
