"""The two ways a question is refused: what was asked for is not there, or cannot be understood."""

from __future__ import annotations


class Unknown(LookupError):  # noqa: N818  it is what is raised, and reads as such
    """What was asked for is not there; the message says what is, or what comes near."""


class Unusable(ValueError):  # noqa: N818  it is what is raised, and reads as such
    """What was given cannot be used; the message says what was found and what was expected."""
