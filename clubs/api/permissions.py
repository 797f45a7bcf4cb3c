"""Who may do what: one table, read by every view."""

from dataclasses import dataclass
from typing import Any

from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from clubs.errors import MissingScopeError, NotAllowedError, NotAuthenticatedError
from clubs.models import Role
from clubs.selectors import DEVICE, Caller
from common.errors import NotFoundError

_ADMIN = frozenset({Role.ADMIN.value})
_STAFF = _ADMIN | {Role.COACH.value}
_PEOPLE = _STAFF | {Role.ATHLETE.value}


@dataclass(frozen=True, slots=True)
class Right:
    """What a request needs: one of these roles, and a token with this scope."""

    scope: str
    roles: frozenset[str]


# Which rows a coach or an athlete then sees is decided by the selectors.
READ_CLUB = Right("club:read", _PEOPLE)
WRITE_CLUB = Right("club:write", _ADMIN)
OWN_TOKENS = Right("club:read", _PEOPLE)
READ_ATHLETES = Right("athletes:read", _PEOPLE)
WRITE_ATHLETES = Right("athletes:write", _ADMIN)
MEASURE_ATHLETES = Right("athletes:write", _STAFF)
READ_ASSIGNMENTS = Right("athletes:read", _STAFF)
READ_PLANS = Right("plans:read", _PEOPLE | {DEVICE})
WRITE_PLANS = Right("plans:write", _STAFF)
READ_ATTEMPTS = Right("attempts:read", _PEOPLE)
PUSH_ATTEMPTS = Right("attempts:write", _STAFF | {DEVICE})
PUSH_GATES = Right("gates:write", _STAFF | {DEVICE})
MATCH_GATES = Right("gates:write", _STAFF)
ATTEMPTS_BY_HAND = Right("attempts:write", _STAFF)
READ_QUARANTINE = Right("attempts:write", _ADMIN | {DEVICE})
READ_ANALYTICS = Right("analytics:read", _PEOPLE)
# What it changes is a queue of questions, and no record of the club.
ASK_FOR_WORK = Right("analytics:read", _PEOPLE)
ATTEND_ALERTS = Right("analytics:write", _STAFF)
DECIDE_ON_ADVICE = Right("analytics:write", _STAFF)
DESIGN_RUN_UPS = Right("analytics:read", _STAFF)
WRITE_ALERT_RULES = Right("analytics:write", _ADMIN)


class ClubRights(BasePermission):
    """Let the caller through when the club is theirs, the role fits and the token has the scope.

    Another club's address answers as if it did not exist, whatever else is wrong.
    """

    def has_permission(self, request: Request, view: Any) -> bool:
        caller = request.user
        if not isinstance(caller, Caller):
            raise NotAuthenticatedError
        if view.kwargs.get("club") != caller.club.slug:
            raise NotFoundError
        right: Right | None = view.rights.get("GET" if request.method == "HEAD" else request.method)
        if right is None:
            return True  # the view has no such method, and will say so
        if caller.role not in right.roles:
            raise NotAllowedError(f"A {caller.role} may not do this.")
        if right.scope not in caller.scopes:
            raise MissingScopeError(f"This needs a token with the scope {right.scope}.")
        return True
