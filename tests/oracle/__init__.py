"""Paper calculation that pours a recipe without the service: what the service is compared with."""
