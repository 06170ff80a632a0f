"""Body: a dog's trunk and the way of the tape over it, its outline, and how it stands.

May import the ground (words, errors, speech, files, version, numerics), case, photo and scale.
"""
