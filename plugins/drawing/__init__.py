"""SVG drawings: oscilloscope, vectors, package, block diagram."""
