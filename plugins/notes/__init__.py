"""Notes of shops: forms, revisions, search, similar cases, personal data."""
