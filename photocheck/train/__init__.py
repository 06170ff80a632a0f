"""How the proposing network is taught; nothing a shop runs imports it, and no wheel holds it."""
