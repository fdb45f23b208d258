"""The chip sheet and the pin card: a chip, or one pin, with everything known about it."""
