"""Boards of the KYE4728, PAL decoder whose crystal sits behind a small series capacitor."""
