"""Judge: photo and tape as one joint estimate, the verdict, and what the shop has learnt.

May import the ground (words, errors, speech, files, version, numerics), case, report, photo,
scale and body.
"""
