"""What a person hands in: the case, its file, lengths as typed; imports the ground only."""
