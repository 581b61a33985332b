"""How long bearings last, over all bikes, and whether one kind lasts longer than another."""
