"""What stands before the pages: who may come in, how often, and what each may fetch."""
