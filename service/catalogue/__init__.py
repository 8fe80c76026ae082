"""Ingredient and source tables, the records read from them, and how measured values override a row."""
