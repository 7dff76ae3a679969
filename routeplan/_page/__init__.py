"""The local page: a light server, and processes that do the work. Public through `page`."""
