"""A capture as pictures: over the expected trace, its difference, colour vectors, spectrum."""
