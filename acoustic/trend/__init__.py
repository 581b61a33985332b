"""How a bearing wears over its visits, and when it will be due."""
