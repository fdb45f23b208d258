"""Compute the picture that given instruments show of a pin, and their effect on the signal."""
