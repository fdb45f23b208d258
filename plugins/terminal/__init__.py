"""The terminal face: the command line, its options, prompts and tables."""
