"""What a pin shows on the chosen meter, probe and oscilloscope."""
