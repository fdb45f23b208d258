"""The commands, imported when they are called."""
