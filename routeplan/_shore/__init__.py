"""Private parts of `coastline`."""
