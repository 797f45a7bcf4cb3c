"""Pages of athletes, their squads, their measurements and who coaches them."""

from athletes.admin import athletes, coaching, notices, overview, sprints

__all__ = ["athletes", "coaching", "notices", "overview", "sprints"]
