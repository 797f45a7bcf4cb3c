"""Whose season a squad's report tells, and what tells what was measured in it from any other."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Q

from analytics.selectors.seasons import moments_of
from athletes import selectors as athlete_selectors
from athletes.models import Athlete, SquadMember
from clubs.models import Club
from clubs.selectors import Caller
from common import prepared

# Corrections raise the version; of a session its kind and day count, too.
_MEASURED = """
    SELECT r.athlete_id::text,
           md5(string_agg(concat_ws(' ', a.id, a.version, s.version), ' '
                          ORDER BY a.started_at, a.id))
      FROM approaches_approach AS r
      JOIN approaches_attempt AS a ON a.club_id = r.club_id AND a.approach_id = r.id
      JOIN approaches_session AS s ON s.club_id = a.club_id AND s.id = a.session_id
     WHERE r.athlete_id = ANY(%s) AND a.started_at >= %s AND a.started_at < %s
       AND a.voided_at IS NULL
     GROUP BY r.athlete_id ORDER BY 1
"""
_BODIES = """
    SELECT t.id::text, md5(concat_ws(' ', t.version, (
               SELECT string_agg(concat_ws(' ', m.id, m.version), ' ' ORDER BY m.id)
                 FROM athletes_bodymeasurement AS m
                WHERE m.club_id = t.club_id AND m.athlete_id = t.id), (
               SELECT string_agg(concat_ws(' ', p.id, p.revision), ' ' ORDER BY p.id)
                 FROM approaches_plan AS p JOIN approaches_approach AS r
                      ON r.club_id = p.club_id AND r.id = p.approach_id
                WHERE r.club_id = t.club_id AND r.athlete_id = t.id)))
      FROM athletes_athlete AS t WHERE t.id = ANY(%s) ORDER BY 1
"""


def list_season_athletes_for(
    caller: Caller, squad_id: UUID, *, from_date: date, to_date: date, today: date
) -> list[Athlete]:
    """Return who was in a squad on a day of a season, of those whom the caller may see today."""
    times = SquadMember.objects.filter(squad_id=squad_id, from_date__lte=to_date).filter(
        Q(until_date=None) | Q(until_date__gte=from_date)
    )
    seen = athlete_selectors.list_athletes_for(caller, today=today)
    return list(seen.filter(id__in=times.values("athlete_id")).order_by("code", "id"))


def read_fingerprints(
    club: Club, athlete_ids: Sequence[UUID], *, from_date: date, to_date: date
) -> tuple[tuple[Any, ...], ...]:
    """Return what becomes another when anything does that a season of theirs is made of."""
    between = moments_of(club, from_date, to_date)
    ids = list(athlete_ids)
    measured = prepared.read_rows(_MEASURED, (ids, *between), make=lambda *columns: columns)
    bodies = prepared.read_rows(_BODIES, (ids,), make=lambda *columns: columns)
    return (*measured, *bodies)
