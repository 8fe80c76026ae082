"""The optimisation problem and its solution; knows numbers, not honey."""
