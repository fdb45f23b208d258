"""An argument of a cache that is known by identity, not by its value.

Hashing a chip, or comparing two, takes milliseconds; mappings cannot be hashed at all.
"""

from __future__ import annotations

from typing import Generic, TypeVar

Anything = TypeVar("Anything")


class Same(Generic[Anything]):
    """An object that equals only itself; while a cache keeps it, no other has its identity."""

    def __init__(self, value: Anything) -> None:
        self.value = value

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and self.value is other.value

    def __hash__(self) -> int:
        return id(self.value)
