"""Is what I measured right? A reading or a capture, held against the expectation."""
