"""The marking surface: a photo on which the dog's landmarks are placed."""

from photocheck_app.marking.surface import Placed, marking_surface, reference_complete, watch_placed

__all__ = ["Placed", "marking_surface", "reference_complete", "watch_placed"]
