"""Tables of notes: rows of CSV, JSON Lines and workbooks, read and written."""
