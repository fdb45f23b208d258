"""Formulas of measurement, pure, in SI units: loading, bandwidth, sampling, ratings."""
