"""From a data sheet to a chip file: draft, lint, format, compare."""
