"""What tastings say: the best dose with its interval, doses that are just right, and difference tests."""
