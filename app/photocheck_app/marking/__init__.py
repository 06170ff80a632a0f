"""The marking surface: a photo on which the dog's landmarks are placed."""

from photocheck_app.marking.surface import Placed, last_placed, marking_surface, reference_complete

__all__ = ["Placed", "last_placed", "marking_surface", "reference_complete"]
