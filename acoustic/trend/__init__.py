"""How a bearing declines over visits, and when it will be due."""
