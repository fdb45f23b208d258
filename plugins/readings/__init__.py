"""Compare readings and captures with expectations: verdicts, measurements, observed ranges."""
