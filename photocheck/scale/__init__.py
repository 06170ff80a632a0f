"""Scale: the reference in the photo, its plane, and the camera's pose against it.

May import the ground (words, errors, speech, files, version, numerics), case and photo.
"""
