"""The trade's words: a thesaurus, and words as people type them turned into a full-text query."""
