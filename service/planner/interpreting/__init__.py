"""What readings mean: true gravity and strength, sugar left, acidity, whether it still ferments, what does not fit."""
