"""Fit: from readings that agree with the photo to what is cut, or to a size on the shelf.

Imports the judgement's limits and wording, body, report and case.
"""
