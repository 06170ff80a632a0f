"""The published formats, as JSON Schema; nothing computes here."""
