"""Capabilities and the two faces, web and terminal, that show them."""
