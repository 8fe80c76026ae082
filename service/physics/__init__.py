"""Densities, volumes and scales: pure functions of published formulas."""
