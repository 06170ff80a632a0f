"""Photo in: bytes to an upright 8-bit RGB picture with the camera facts.

Imports the ground only.
"""
