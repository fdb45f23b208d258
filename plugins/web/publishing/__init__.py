"""The pages of a folio as static files."""
