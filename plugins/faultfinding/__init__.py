"""Given these readings: what is suspect, and where to probe next?"""
