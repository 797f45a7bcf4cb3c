"""Correct an attempt, or void it; what it was before is kept."""

from datetime import datetime
from typing import Any
from uuid import UUID

import msgspec
from django.utils import timezone

from approaches import selectors
from approaches.errors import AlreadyVoidedError, RefusedCorrectionError
from approaches.models import Attempt, ChangeKind
from approaches.services import encoding, matching, stored, storing, versions
from approaches.services.arrays import columns_of
from approaches.services.changes import AttemptChanges, apply_changes
from approaches.services.checking import check_readings
from approaches.services.resolving import References
from approaches.services.storing import Series
from athletes import selectors as athlete_selectors
from clubs.models import Club
from clubs.selectors import Caller, today_at
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, NotFoundError
from common.versions import Expected, change_row, check_version


def correct_attempt(
    *,
    club: Club,
    attempt_id: UUID,
    expected: Expected,
    changes: AttemptChanges,
    reason: str,
    caller: Caller,
) -> Attempt:
    """Change what an attempt says, and decide again what was decided when it came.

    The rules are those of a push. The plan is the one that was valid at the start, which may have
    been written down since. What the source sent stays known: sent again, it changes nothing back.

    Raises
    ------
    NotFoundError
        There is no such attempt, or it is a stranger's.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyVoidedError
        It does not count any more.
    RefusedCorrectionError
        The attempt would break a rule, or name something unknown; nothing is changed.
    """
    with club_scope(club):
        matching.take_turn(club)
        attempt = _lock(club, attempt_id, expected=expected, caller=caller)
        values = _values_after(club, attempt, changes, caller=caller)
        columns = [
            name
            for name, value in values.items()
            if not stored.is_same(getattr(attempt, name), value)
        ]
        if not columns:
            return attempt
        before = _place_of(attempt)
        versions.keep_formers(
            club=club,
            formers=[versions.Former(attempt, versions.actor_of(caller), reason)],
            kind=ChangeKind.CORRECTED,
            columns=columns,
        )
        change_row(attempt, expected=expected, changes={name: values[name] for name in columns})
        _mark_changed(club, before, _place_of(attempt))
        auditing.record_audit(
            club=club,
            caller=caller,
            action="attempt_corrected",
            subjects={"attempt": [attempt.id]},
            field_names=versions.wire_names(columns),
        )
        if {"athlete_id", "started_at"} & set(columns):
            matching.match_attempts(club=club, attempts=[attempt], caller=caller)
            attempt.refresh_from_db()
        return attempt


def void_attempt(
    *, club: Club, attempt_id: UUID, expected: Expected, reason: str, caller: Caller
) -> Attempt:
    """Let an attempt count no more. It stays, so that its source's id stays known.

    Raises
    ------
    NotFoundError
        There is no such attempt, or it is a stranger's.
    StaleVersionError
        Somebody else changed it meanwhile.
    AlreadyVoidedError
        It was voided before.
    """
    with club_scope(club):
        matching.take_turn(club)
        attempt = _lock(club, attempt_id, expected=expected, caller=caller)
        before = _place_of(attempt)
        versions.keep_formers(
            club=club,
            formers=[versions.Former(attempt, versions.actor_of(caller), reason)],
            kind=ChangeKind.VOIDED,
            columns=["voided_at"],
        )
        change_row(attempt, expected=expected, changes={"voided_at": timezone.now()})
        _mark_changed(club, before)
        auditing.record_audit(
            club=club,
            caller=caller,
            action="attempt_voided",
            subjects={"attempt": [attempt.id]},
            field_names=["voided_at"],
        )
        # A gate run that fitted two attempts may fit one now.
        matching.match_attempts(club=club, attempts=[attempt], caller=caller)
        return attempt


def _lock(club: Club, attempt_id: UUID, *, expected: Expected, caller: Caller) -> Attempt:
    attempt = (
        selectors.list_attempts_for(caller, today=today_at(club))
        .select_for_update(no_key=True)
        .filter(id=attempt_id)
        .first()
    )
    if attempt is None:
        raise NotFoundError
    check_version(attempt, expected=expected)
    if attempt.voided_at is not None:
        raise AlreadyVoidedError
    return attempt


def _values_after(
    club: Club, attempt: Attempt, changes: AttemptChanges, *, caller: Caller
) -> dict[str, Any]:
    """Return the columns of the corrected attempt, checked and resolved as a push is."""
    reading = apply_changes(stored.reading_of(attempt), _with_approach(attempt, changes))
    columns = columns_of([reading])
    faults = check_readings([reading], columns).get(0, [])
    if faults:
        raise _refusal(faults)
    references = References(
        [reading],
        club=club,
        athletes=athlete_selectors.list_athletes_for(caller, today=today_at(club)),
        make_sessions=False,
    )
    meant = references.resolve(reading)
    if isinstance(meant, Fault):
        raise _refusal([meant])
    return stored.columns_for(reading, meant, columns, encoding.phases_of(reading))


def _with_approach(attempt: Attempt, changes: AttemptChanges) -> AttemptChanges:
    """Let the right athlete's approach be the one with the same code, unless the changes name it.

    An id would still be that of the wrong athlete's.
    """
    if changes.athlete is msgspec.UNSET or changes.approach is not msgspec.UNSET:
        return changes
    return msgspec.structs.replace(changes, approach=attempt.approach.code)


def _refusal(faults: list[Fault]) -> RefusedCorrectionError:
    return RefusedCorrectionError(
        faults[0].detail,
        faults=[Fault(f"/changes{fault.pointer}", fault.code, fault.detail) for fault in faults],
    )


Place = tuple[Series, datetime]


def _place_of(attempt: Attempt) -> Place | None:
    """Return where an attempt stands among those it is compared with, or None when left out."""
    series = storing.series_of(attempt)
    return None if series is None else (series, attempt.started_at)


def _mark_changed(club: Club, *places: Place | None) -> None:
    """Have each series computed again from the earliest place on."""
    known = [place for place in places if place is not None]
    if known:
        since = min(started_at for _, started_at in known)
        storing.mark_changed(club=club, first_changed={series: since for series, _ in known})
