"""From a data sheet to a chip file: drafting, linting, formatting, previewing, comparing."""
