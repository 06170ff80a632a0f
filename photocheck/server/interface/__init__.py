"""What other programs may ask of a running desk: read, answered and described without any server.

It may import whatever a server may; the web app's doors hand it what was asked.
"""
