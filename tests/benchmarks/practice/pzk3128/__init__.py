"""Boards of the PZK3128, vision IF, sound IF and sound output in one."""
