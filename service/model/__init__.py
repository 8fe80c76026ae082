"""What a lot and a mixture are, and the properties of a mixture with their derivatives."""
