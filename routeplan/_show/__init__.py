"""Private parts of `report`, `charts` and `cli`."""
