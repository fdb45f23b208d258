"""What instruments do to what they measure: pure formulas, floats in SI units, each with source."""
