"""What should be seen on a pin: chip sheet and pin card."""
