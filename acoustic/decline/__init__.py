"""How one bearing declines over its workshop visits, and when it reaches the next grade."""
