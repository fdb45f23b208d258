"""How likely everything is to be at fault, given what was read."""
