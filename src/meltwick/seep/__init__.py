"""Water and dye in the bundle: ice melts, water percolates, dye travels, fixes and washes out."""
