"""How long bearings last, over all bikes, and whether one kind outlasts another."""
