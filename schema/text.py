"""Text from people: how part numbers are compared."""

from __future__ import annotations

import unicodedata


def part_key(text: str) -> str:
    """What of a marking counts when two are compared: letters and digits, in capitals.

    >>> part_key("µqz-5710 n")
    'UQZ5710N'
    """
    plain = unicodedata.normalize("NFKC", text).replace("μ", "U").upper()
    return "".join(sign for sign in plain if sign.isalnum())
