"""A shop's folder: notes, attachments, keys, bundles, merging."""
