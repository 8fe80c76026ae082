"""Pressure, gas and heat of a packed drink: what it holds, what it reaches if it ferments again, and what heat does."""
