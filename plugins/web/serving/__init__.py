"""Serve a folio on this machine or with a password beyond it."""
