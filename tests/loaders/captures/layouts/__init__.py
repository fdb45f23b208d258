"""Invented instruments' exports, written from descriptions of layouts, not from the reader."""
