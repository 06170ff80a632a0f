"""Scale: reference objects, how they are found, and the plane they define."""
