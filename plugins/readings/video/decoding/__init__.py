"""Signals on the way through a decoder: decoded bars, and carriers modulated in frequency."""
