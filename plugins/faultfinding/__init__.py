"""Given these readings: what is suspect, and where do I probe next?"""
