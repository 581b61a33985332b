"""The bundled plugins. They import `acoustic.api` and nothing else of the project."""
