"""Phantom: simulated dogs of known truth, their tape lengths and their photos, to test against.

May import the ground (words, errors, speech, files, version, numerics), case, photo and scale;
never body or judge, for it must not learn from what it tests.  Nothing that a shop runs imports
it.
"""
