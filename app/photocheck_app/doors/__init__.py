"""What stands before the pages: who may come in, how often, and what each may fetch.

``paths`` (every path there is), ``sessions`` (whose a session and a file is), ``rate_limits``,
``language`` (of plain pages), ``sign_in`` and ``oidc``, ``signed_in`` (who is at the desk),
``retention`` (what goes by itself), ``wire`` (how much a page may send at once), ``health`` and
``trouble`` (whether the store answers), ``settings`` (what the server was told, and its one
store), and ``middleware``, through which every request comes.  Imports `photocheck` and
``framework``, and none of the pages nor what they share.
"""
