"""The owner's way: readings, dog, photo, marks, result."""

from photocheck_app.owner.page import page

__all__ = ["page"]
