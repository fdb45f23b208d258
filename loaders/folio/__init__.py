"""The folio: build, verify, open and query the SQLite database."""
