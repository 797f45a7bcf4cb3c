"""Pages of what is computed, and of what is told to coaches."""

from analytics.admin import advice, notices, overview, rules, series, work

__all__ = ["advice", "notices", "overview", "rules", "series", "work"]
