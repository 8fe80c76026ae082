"""Clearing a drink, or keeping its haze."""
