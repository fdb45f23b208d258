"""Quantities such as ``4.2 V ± 5 %``: read into SI floats with limits, printed, respelled."""

from __future__ import annotations

from .errors import QuantityError
from .quantity import Quantity, parse_quantity, print_quantity, print_span, print_value
from .units import UNITS

__all__ = [
    "UNITS",
    "Quantity",
    "QuantityError",
    "parse_quantity",
    "print_quantity",
    "print_span",
    "print_value",
]
