"""Private parts of `coastsource`."""
