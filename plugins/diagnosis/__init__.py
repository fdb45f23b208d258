"""Diagnosis: what is wrong with the board, and what to do next."""
