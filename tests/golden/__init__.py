"""What photocheck answered before its rooms were moved; a move changes none of it."""
