"""The operating system: atomic writes, locks, worker processes, user folders, limits."""
