"""Oscilloscope exports, and points read off a drawn waveform, as samples."""
