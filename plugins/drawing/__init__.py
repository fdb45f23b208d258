"""Draw SVG pictures: oscilloscope screens, vectors, packages, block diagrams."""
