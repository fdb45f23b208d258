"""Look for damages in folios, shops and published folders, writing nothing."""
