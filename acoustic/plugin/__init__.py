"""What plugins may offer, which are there, and how they are called without harm."""
