"""What to do next."""
