"""Plants faults in the program, one at a time, and says which tests notice.

The changes are our own few lines over `ast`: what is kept on the registry was looked at first.
`mutmut` (3.8) puts `None` for arguments and values and letters into texts, which any test notices,
drops no statement, forces no `if`, swaps no arguments and knows no min and max; it offers its
changes as a command with a terminal page (`textual`), not as a library.  `cosmic-ray` (8.7) offers
them as plugins, but has none of those either, and brings `aiohttp`, `gitpython` and eleven more.
Which test reaches which line is told by `coverage`.
"""
