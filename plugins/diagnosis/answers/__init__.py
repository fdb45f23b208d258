"""A hunt and its answer: suspects, next steps, conclusion; job files and notes."""
