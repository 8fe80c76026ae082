"""What a label would say: strength and its tolerance, energy, sugar, drinks in a container, juice, statements."""
