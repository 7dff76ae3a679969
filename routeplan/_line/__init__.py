"""Private parts of `route` and `gpx`."""
