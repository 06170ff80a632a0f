"""Messages: drafts to an owner, for staff to read and send themselves; imports fit and report."""
