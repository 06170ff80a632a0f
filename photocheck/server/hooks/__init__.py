"""Telling other programs of changes: signed, to where the shop lets it, until it was heard."""
