"""The steps from an empty book to today's, each a file, never altered once released."""
