"""Whole files over HTTP, for `providers` and `coastsource`."""
