"""Pages of what is computed, and of what is told to coaches."""

from analytics.admin import series

__all__ = ["series"]
