"""Will a part from the scrap box do? What another value does on the board, worked out."""
