"""Learning where the landmarks lie: dogs with known marks, misses, and what they do."""
