"""What plugins may offer, which are found, and how they are called safely."""
