"""Pressing a bearing in: the sheet before (fit), and what the spins before and after say."""
