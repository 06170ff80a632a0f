"""What a person hands in: the case, its file, lengths as typed, what makes it usable.

Imports the ground and the schemas only.
"""
