"""How a book of an older version becomes one of this version."""
