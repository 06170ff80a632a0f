"""Made-up and damaged inputs by the ten thousand.  Run: ``cd tests && python -m fuzz --help``."""
