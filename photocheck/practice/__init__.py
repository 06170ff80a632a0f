"""Learning where the landmarks lie: dogs with known marks, misses, and what they do.

Imports the estimate and what it rests on; neither orders nor phantoms.
"""
