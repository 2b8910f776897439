"""The handbook: short pages in each language, found by their words, kept for when there is no network."""
