"""A glass that tasted or looked right, brought to a batch."""
