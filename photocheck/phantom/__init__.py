"""Phantom: simulated dogs of known truth, to test the rest against."""
