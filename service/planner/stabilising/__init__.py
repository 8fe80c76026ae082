"""How to keep a sweet drink: sulfite and sorbate in grams, or why they are not enough."""
