"""The web app: talks to people, and leaves every computation to `photocheck`.

``main`` holds the pages, ``served`` puts them behind their doors, ``start`` is what ``photocheck
serve`` runs.  Rooms, each importing what stands before it here and nothing after: ``framework``
(all that is private of Streamlit) and ``kept``; ``proofs``; ``doors``; ``shared``, ``uploads``;
``marking``; ``answer``; ``practise``, ``desk``; ``owner``.
"""
