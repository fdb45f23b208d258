"""How likely everything is to be at fault, given the readings."""
