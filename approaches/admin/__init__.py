"""Pages of approaches, plans, sessions, attempts, gate runs, refused rows and the outbox."""

from approaches.admin import attempts, gates, notices, plans, quarantine, refreshes

__all__ = ["attempts", "gates", "notices", "plans", "quarantine", "refreshes"]
