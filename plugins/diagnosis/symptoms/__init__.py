"""Symptoms of a set, in the trade's words."""
