"""Oscilloscope exports read as samples."""
