"""Evidence from readings: observations of points, and tests of parts."""
