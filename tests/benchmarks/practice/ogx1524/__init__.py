"""Boards of the OGX1524, vision and sound IF."""
