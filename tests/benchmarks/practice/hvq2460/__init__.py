"""Boards of the HVQ2460, line and field timing with field output."""
