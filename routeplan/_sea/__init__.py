"""Private parts of `waves`."""
