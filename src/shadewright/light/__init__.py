"""Light from outside the frame."""
