"""The counter page's pages: a module a page, each with its addresses."""
