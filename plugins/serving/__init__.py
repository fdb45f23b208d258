"""The folio as pages, served from this machine."""
