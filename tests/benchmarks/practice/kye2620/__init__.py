"""Boards of the KYE2620, sync and deflection with two resistor-capacitor oscillators."""
