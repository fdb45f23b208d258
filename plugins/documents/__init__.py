"""Describe the JSON documents of commands and pages as JSON Schema."""
