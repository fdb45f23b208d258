"""Scanned pages and photographs: words, rules and cells with their places and confidence."""
