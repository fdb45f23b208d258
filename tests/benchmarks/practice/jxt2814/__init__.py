"""Boards of the JXT2814, NTSC decoder with luminance channel."""
