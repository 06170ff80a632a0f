"""The owner's way: readings, dog, photo, marks, result."""

from photocheck.app.owner.page import page

__all__ = ["page"]
