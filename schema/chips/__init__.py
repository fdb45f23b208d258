"""The parts of a chip: package, sources, expectations, application, symptoms, pins."""
