"""The learner's way: exercises with known marks, the pattern over attempts, one's own photo.

Imports `photocheck.practice`, the marking surface and what pages share; neither orders nor doors.
Nothing here is stored.
"""

from photocheck_app.practise.page import page

__all__ = ["page"]
