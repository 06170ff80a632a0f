"""Body: landmarks, the trunk and the way of the tape over it."""
