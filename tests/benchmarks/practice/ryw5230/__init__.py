"""Boards of the RYW5230, RGB processor with three video output stages."""
