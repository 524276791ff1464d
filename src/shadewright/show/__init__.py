"""Figures: functions that take values and return a matplotlib Figure, and `save`, which writes it."""
