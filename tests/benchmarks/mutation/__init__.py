"""Mutants of the code, and the tests run on each of them."""
