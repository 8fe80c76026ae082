"""Acids, sugars and energy: equivalents and factors with their sources."""
