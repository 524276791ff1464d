"""From a lens and wishes to a hood, and which hood to choose."""
