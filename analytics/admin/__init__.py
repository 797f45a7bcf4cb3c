"""Pages of what is computed, and of what is told to coaches."""

from analytics.admin import overview, rules, series

__all__ = ["overview", "rules", "series"]
