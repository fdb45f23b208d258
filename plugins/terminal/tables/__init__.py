"""Documents as tables for the terminal."""
