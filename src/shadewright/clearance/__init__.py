"""The keep-out, the deepest rim, loss and the check of a finished hood."""
