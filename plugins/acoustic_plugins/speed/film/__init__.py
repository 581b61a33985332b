"""The crank angle out of the picture of the same film."""
