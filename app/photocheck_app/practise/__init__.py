"""The learner's way: exercises with known marks, the pattern over attempts, one's own photo.

Imports `photocheck.practice`, the marking surface and what pages share; of orders and doors no more
than the way back to where somebody came from.
Nothing here is stored; the browser's tab remembers the attempts.
"""

from photocheck_app.practise.page import page

__all__ = ["page"]
