"""What the tests of the desk's pages share."""

from tests.support.desk_pages import held

__all__ = ["held"]
