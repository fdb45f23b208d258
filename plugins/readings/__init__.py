"""Is the measured value right? Readings and captures compared with expectations."""
