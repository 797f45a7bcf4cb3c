"""Pages of approaches, plans, sessions, attempts, refused rows and the outbox."""

from approaches.admin import attempts, plans, quarantine, refreshes

__all__ = ["attempts", "plans", "quarantine", "refreshes"]
