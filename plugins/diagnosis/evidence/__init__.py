"""What was read and found: the grammar, and what it says of points and parts."""
