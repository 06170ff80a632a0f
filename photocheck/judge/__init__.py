"""Judge: photo and tape as one joint estimate, and the verdict."""
