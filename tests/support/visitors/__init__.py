"""Owners by the dozen, over the wire as a browser would.  ``cd tests && python -m visitors``."""
