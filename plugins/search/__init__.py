"""Find chips by their marking, and pins, stages and notes by words."""
