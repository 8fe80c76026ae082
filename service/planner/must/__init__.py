"""Must planning: honey and water to a gravity or a strength, backwards from a drink, and what yeast needs."""
