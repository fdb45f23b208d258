"""Diagnosis: rank the suspects on a board and choose the next step."""
