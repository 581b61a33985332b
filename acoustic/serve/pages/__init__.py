"""A module a page, each with its addresses."""
