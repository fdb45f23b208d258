"""The board: one behavioural model of a chip and what is around it."""
