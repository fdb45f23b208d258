"""The chip file described from its models: JSON Schema, the meaning of each field, its type."""
