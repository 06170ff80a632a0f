"""Who comes to what: owners by a link to their one order, staff by name and password."""
