"""The published formats as JSON Schema, and the words for what breaks them.

All schemas lie here and not one in each room, because reports, ratios, outcomes and exports are
held against theirs in the same way and complained of in the same words, and because who writes a
program against photocheck finds them in one place.  Imports words, errors and speech only.
"""
