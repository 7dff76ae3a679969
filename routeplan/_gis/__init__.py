"""Parts of `gis`: a plan as layers, as GPX, as a dataset; nothing is computed here."""
