"""From the names in a reading to the rows that they mean."""

import re
from bisect import bisect_right
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Q, QuerySet

from approaches.models import LeftOut, Outcome
from approaches.services.checking import ALL_PHASES
from approaches.services.readings import Reading
from athletes.models import Athlete
from clubs.models import Club
from common import prepared, texts
from common.errors import Fault, InvalidInputError

_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
CODE_PREFIX = "ext:"


LONGEST_CODE = 40

# An athlete without an approach comes once, an approach without a plan as well.
_PEOPLE = """
    SELECT athlete.id, athlete.code, approach.id, approach.code, approach.steps,
           plan.id, plan.valid_from, plan.start_mark_m
      FROM athletes_athlete AS athlete
      LEFT JOIN approaches_approach AS approach
           ON approach.club_id = athlete.club_id AND approach.athlete_id = athlete.id
      LEFT JOIN approaches_plan AS plan
           ON plan.club_id = approach.club_id AND plan.approach_id = approach.id
     WHERE athlete.club_id = %s
       AND (athlete.code = ANY(%s::text[]) OR athlete.id = ANY(%s::uuid[]))
     ORDER BY plan.valid_from
"""
_SESSIONS = """
    SELECT id, code FROM approaches_session
     WHERE club_id = %s AND (code = ANY(%s::text[]) OR id = ANY(%s::uuid[]))
"""
# By code, so that two batches that make the same sessions do not wait for each other for ever.
_MAKE_SESSIONS = """
    INSERT INTO approaches_session (club_id, code, kind, held_date, weather)
    SELECT %s, code, 'training', held_date, ''
      FROM unnest(%s::text[], %s::date[]) AS wanted (code, held_date) ORDER BY code
    ON CONFLICT (club_id, code) DO NOTHING
    RETURNING id
"""
_FORGET_SESSIONS = "DELETE FROM approaches_session WHERE club_id = %s AND id = ANY(%s)"


def check_code(code: str) -> None:
    """Refuse a code that a push could take for the id of another row.

    Raises
    ------
    InvalidInputError
        It has the form of an id.
    """
    if _UUID.fullmatch(code):
        detail = "A code is told from an id by its form; this one has the form of an id."
        raise InvalidInputError(faults=[Fault("/code", "looks_like_an_id", detail)])


class _Person(NamedTuple):
    """An athlete with one approach and one of its plans, as far as there are any."""

    athlete_id: UUID
    athlete_code: str
    approach_id: UUID | None
    approach_code: str
    steps: int
    plan_id: UUID | None
    valid_from: datetime
    start_mark_m: float


class _Held(NamedTuple):
    """A session, by id and code."""

    id: UUID
    code: str


@dataclass(frozen=True, slots=True)
class Revision:
    """What a push needs to know of a plan."""

    id: UUID
    start_mark_m: float
    mean_step_m: float


@dataclass(frozen=True, slots=True)
class Resolved:
    """The rows that a reading speaks of."""

    athlete_id: UUID
    approach_id: UUID
    session_id: UUID
    plan_id: UUID | None
    left_out: str | None


class References:
    """Every athlete, approach, plan and session that a batch speaks of, read in a few queries."""

    def __init__(
        self,
        readings: Sequence[Reading],
        *,
        club: Club,
        athletes: QuerySet[Athlete] | None,
        make_sessions: bool,
    ) -> None:
        """Read what the readings name; with `athletes`, every other athlete is unknown."""
        self._club, self._make = club, make_sessions
        self._athletes: dict[str, UUID] = {}
        self._approaches: dict[tuple[UUID, str], UUID] = {}
        self._plans: dict[UUID, tuple[list[datetime], list[Revision]]] = {}
        # Both are asked before either is read: a single push sends them at once.
        people = self._ask_people({_bare(reading.athlete) for reading in readings})
        sessions = self._ask_sessions({_spelled(reading.session) for reading in readings})
        self._read_people(people, athletes)
        self._sessions = _by_code_and_id(sessions.rows())
        self.made_sessions: list[UUID] = []
        if make_sessions:
            self._make_sessions(readings)
        self._meanings: dict[tuple[str, str, str], tuple[UUID, UUID, UUID] | Fault] = {}

    def _ask_people(self, names: Collection[str]) -> prepared.Question[_Person]:
        """Ask for the athletes with these codes or ids, with all their approaches and plans."""
        return prepared.Question(_PEOPLE, [self._club.id, *_codes_and_ids(names)], make=_Person)

    def _read_people(
        self, people: prepared.Question[_Person], among: QuerySet[Athlete] | None
    ) -> None:
        rows = people.rows()
        if among is not None:
            found = {row.athlete_id for row in rows}
            seen = set(among.filter(id__in=found).values_list("id", flat=True))
            rows = [row for row in rows if row.athlete_id in seen]
        for row in rows:
            for name in (row.athlete_code, str(row.athlete_id)):
                self._athletes[name] = row.athlete_id
            if row.approach_id is None:
                continue
            for name in (row.approach_code, str(row.approach_id)):
                self._approaches[row.athlete_id, name] = row.approach_id
            if row.plan_id is not None:
                since, revisions = self._plans.setdefault(row.approach_id, ([], []))
                since.append(row.valid_from)
                mean_step_m = row.start_mark_m / row.steps
                revisions.append(Revision(row.plan_id, row.start_mark_m, mean_step_m))

    def _ask_sessions(self, names: Collection[str]) -> prepared.Question[_Held]:
        return prepared.Question(_SESSIONS, [self._club.id, *_codes_and_ids(names)], make=_Held)

    def _make_sessions(self, readings: Sequence[Reading]) -> None:
        """Make a training session for each code that the club does not have yet."""
        zone = ZoneInfo(self._club.time_zone)
        wanted: dict[str, datetime] = {}
        for reading in readings:
            code = _spelled(reading.session)
            if code in self._sessions or _UUID.fullmatch(code) or not _may_be_made(code):
                continue
            if self._find_approach(reading.athlete, reading.approach) is not None:
                wanted[code] = min(wanted.get(code, reading.started_at), reading.started_at)
        if not wanted:
            return
        codes = sorted(wanted)
        with connection.cursor() as cursor:
            cursor.execute(
                _MAKE_SESSIONS,
                [
                    self._club.id,
                    codes,
                    [wanted[code].astimezone(zone).date() for code in codes],
                ],
            )
            self.made_sessions = [session_id for (session_id,) in cursor.fetchall()]
        # Somebody else may have made some of them meanwhile.
        self._sessions |= _by_code_and_id(self._ask_sessions(wanted).rows())

    def forget_sessions(self, *, used: Collection[UUID]) -> None:
        """Take back the sessions made here in which no attempt was stored."""
        unused = [session_id for session_id in self.made_sessions if session_id not in used]
        if unused:
            with connection.cursor() as cursor:
                cursor.execute(_FORGET_SESSIONS, [self._club.id, unused])
            self.made_sessions = [each for each in self.made_sessions if each in used]

    def resolve(self, reading: Reading) -> Resolved | Fault:
        """Return the rows that `reading` speaks of, or the first name that means nothing here."""
        # A batch names few athletes and sessions many times.
        names = (reading.athlete, reading.approach, reading.session)
        meant = self._meanings.get(names)
        if meant is None:
            meant = self._meanings[names] = self._look_up(*names)
        if isinstance(meant, Fault):
            return meant
        athlete_id, approach_id, session_id = meant
        plan = self._plan_at(approach_id, reading.started_at)
        return Resolved(
            athlete_id=athlete_id,
            approach_id=approach_id,
            session_id=session_id,
            plan_id=None if plan is None else plan.id,
            left_out=_left_out(reading, plan),
        )

    def _look_up(
        self, athlete: str, approach: str, session: str
    ) -> tuple[UUID, UUID, UUID] | Fault:
        athlete_id = self._find_athlete(athlete)
        if athlete_id is None:
            return unknown_athlete(athlete)
        known = self._find_approach(athlete, approach)
        if known is None:
            detail = f"The athlete has no approach {approach}."
            return Fault("/approach", "unknown_approach", detail)
        session_id = self._sessions.get(_spelled(session))
        unseen = texts.find_unseen(session)
        if session_id is None and self._make and unseen is not None:
            detail = f"A code has no sign that nobody sees: {texts.name_of(unseen)}."
            return Fault("/session", "control_character", detail)
        if session_id is None and self._make and len(session) > LONGEST_CODE:
            detail = f"A session that is made has a code of at most {LONGEST_CODE} characters."
            return Fault("/session", "wrong_length", detail)
        if session_id is None:
            detail = f"No session {session}; create it, or send make_sessions=true."
            return Fault("/session", "unknown_session", detail)
        return athlete_id, known, session_id

    def _find_athlete(self, name: str) -> UUID | None:
        return self._athletes.get(_bare(name)) if _is_reference(name) else None

    def _find_approach(self, athlete: str, name: str) -> UUID | None:
        athlete_id = self._find_athlete(athlete)
        if athlete_id is None:
            return None
        return self._approaches.get((athlete_id, _spelled(name)))

    def _plan_at(self, approach_id: UUID, moment: datetime) -> Revision | None:
        since, revisions = self._plans.get(approach_id, ([], []))
        place = bisect_right(since, moment.astimezone(UTC))
        return revisions[place - 1] if place else None


def unknown_athlete(name: str) -> Fault:
    """Return what is said of a name that means no athlete here."""
    hint = "" if _is_reference(name) else f" A code is written {CODE_PREFIX}{name}."
    return Fault("/athlete", "unknown_athlete", f"No athlete {name}.{hint}")


def find_athletes(athletes: QuerySet[Athlete], names: Iterable[str]) -> dict[str, UUID]:
    """Return the ids of the athletes that the names mean, by the name as it was sent."""
    bare = {name: _bare(name) for name in names if _is_reference(name)}
    known = _by_name(athletes, set(bare.values())) if bare else {}
    return {name: known[meant] for name, meant in bare.items() if meant in known}


def _left_out(reading: Reading, plan: Revision | None) -> str | None:
    """Return why the attempt stays out of its series, or None when it belongs there."""
    if reading.phases is not None and tuple(reading.phases) != ALL_PHASES:
        return LeftOut.PARTIAL.value
    if reading.outcome == Outcome.BAULK.value:
        return LeftOut.BAULK.value
    if reading.take_off_foot_ok is False:
        return LeftOut.WRONG_FOOT.value
    # A start error of over half a step means that another number of steps was run.
    if plan is not None and reading.start_mark_m is not None:
        error_m = abs(reading.start_mark_m - plan.start_mark_m)
        if error_m > plan.mean_step_m / 2:
            return LeftOut.WRONG_STEP_COUNT.value
    return None


def _by_code_and_id(sessions: Iterable[_Held]) -> dict[str, UUID]:
    known: dict[str, UUID] = {}
    for session in sessions:
        known[session.code] = known[str(session.id)] = session.id
    return known


def _is_reference(name: str) -> bool:
    return name.startswith(CODE_PREFIX) or _UUID.fullmatch(name) is not None


def _bare(name: str) -> str:
    """Return a code without its prefix, and a UUID in lower case."""
    if name.startswith(CODE_PREFIX):
        return texts.composed(name.removeprefix(CODE_PREFIX))
    return name.lower()


def _spelled(name: str) -> str:
    """Return a code as it is kept, and a UUID in lower case."""
    return name.lower() if _UUID.fullmatch(name) else texts.composed(name)


def _may_be_made(code: str) -> bool:
    return len(code) <= LONGEST_CODE and texts.find_unseen(code) is None


def _codes_and_ids(names: Iterable[str]) -> tuple[list[str], list[UUID]]:
    """Return names as the codes that they may be, and the ids that are among them."""
    codes = list(names)
    return codes, [UUID(name) for name in codes if _UUID.fullmatch(name)]


def _by_name(athletes: QuerySet[Athlete], names: Iterable[str]) -> dict[str, UUID]:
    """Return the ids of the athletes whose code or id is among `names`, by that name."""
    codes, ids = _codes_and_ids(names)
    known: dict[str, UUID] = {}
    found = athletes.filter(Q(code__in=codes) | Q(id__in=ids))
    for row_id, code in found.values_list("id", "code"):
        known[code] = known[str(row_id)] = row_id
    return known
