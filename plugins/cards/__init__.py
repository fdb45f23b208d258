"""Placeholder docstring, replaced as the folder fills."""
