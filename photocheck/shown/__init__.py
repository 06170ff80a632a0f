"""What leaves for people: picture, record, plain text, plots, files; imports orders and fit."""
