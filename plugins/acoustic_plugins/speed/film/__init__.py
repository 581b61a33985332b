"""The crank's angle from the picture of the same film."""
