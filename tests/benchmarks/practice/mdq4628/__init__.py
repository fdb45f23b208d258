"""Boards of the MDQ4628, PAL decoder for a glass delay line."""
