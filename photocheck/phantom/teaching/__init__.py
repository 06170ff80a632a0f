"""Small pictures of phantom dogs with labels, in numbers, to teach where the marks lie.

Uses what stands in `photocheck.phantom` and images and bodies that are handed in; numpy,
OpenCV and scikit-image alone, so that it runs wherever there are processors.
"""
