"""Publish a folio as static files, fetch one, and pool readings as Parquet."""
