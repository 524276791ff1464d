"""A lens as light: windows, projections, sweeps and beams."""
