"""The learner's way: exercises with known marks, the pattern over attempts, one's own photo."""

from photocheck_app.practise.page import page

__all__ = ["page"]
