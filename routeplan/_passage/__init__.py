"""Private parts of `propulsion` and `simulation`."""
