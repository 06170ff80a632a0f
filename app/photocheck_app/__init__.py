"""The web app: thin over `photocheck`, no arithmetic of its own."""
