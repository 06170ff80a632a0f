"""Messages: drafts to an owner, for staff to read, change and send themselves."""
