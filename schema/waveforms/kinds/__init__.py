"""The kinds of waveform, each a class that registers itself by its literal ``kind``.

A new kind is a class in a file here, and its check against a standard in ``tests/published``.
"""
