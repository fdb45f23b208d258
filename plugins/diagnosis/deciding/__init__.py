"""The next step."""
