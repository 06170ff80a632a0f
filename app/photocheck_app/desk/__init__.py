"""The workshop's way: the list of orders, one order on one screen, decisions, files that leave."""

from photocheck_app.desk.page import page

__all__ = ["page"]
