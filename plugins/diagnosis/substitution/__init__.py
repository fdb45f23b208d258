"""Will a part from the scrap box do? The board simulated with another value."""
