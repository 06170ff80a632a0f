"""The commands: they talk to people and compute nothing; nothing imports them."""
