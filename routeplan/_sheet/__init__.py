"""Trip sheet and deck card: their words, their pictures and their pages."""
