"""Chip files: YAML and JSON Lines to models and back, with line numbers and comments."""
