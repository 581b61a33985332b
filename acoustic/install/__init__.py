"""Before a bearing is pressed in, and what the spins before and after say."""
