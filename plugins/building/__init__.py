"""Chip files into a folio, and what a chip file may say."""
