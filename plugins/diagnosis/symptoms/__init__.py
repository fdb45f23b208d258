"""What a set does, in the trade's words."""
