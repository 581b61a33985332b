"""The fit sheet: what a bearing's clearance comes to, before it is pressed."""
