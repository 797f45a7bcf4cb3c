"""Pages of what is computed, and of what is told to coaches."""

from analytics.admin import notices, overview, rules, series, work

__all__ = ["notices", "overview", "rules", "series", "work"]
