"""What a running desk shares: places to work, memory, access; imports orders and shown."""
