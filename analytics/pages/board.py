"""The page that a coach keeps open at a competition: what next for each athlete, and what was."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone

from analytics.answers import next_attempt, told, words
from analytics.answers.aim import MOST_ATTEMPTS
from analytics.answers.next_attempt import NextAttempt
from analytics.core.wind_table import WindTable
from analytics.services import board
from analytics.services.board import Entry
from approaches import selectors as approach_selectors
from approaches.models import Approach, Attempt, Finish, Outcome, SessionKind
from clubs.pages.base import ClubPage

# Official readings are called legal up to 2 m/s; a coach looks a little farther, to both sides.
_WINDS_MPS = (-2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
_HALF_A_ROW_MPS = 0.5
_NUMBER = re.compile(r"[0-9]{1,2}")
_CENTIMETRES = re.compile(r"[0-9]{1,2}([.,][0-9]{1,2})?")


@dataclass(frozen=True, slots=True)
class Options:
    """What the coach said about the competition: attempts for each, and what the cut will take."""

    attempts: int
    cut_m: float | None


class Board(ClubPage):
    """Shows the advice, takes in what happened. The script of the page sends it."""

    def get(self, request: HttpRequest, club: str, session_id: UUID) -> HttpResponse:
        session = approach_selectors.get_session(session_id)
        chosen = [_id_of(each) for each in request.GET.getlist("approach")]
        options = _options_of(request)
        entries = board.read_board_for(
            self.caller,
            session,
            chosen=chosen,
            attempts=options.attempts,
            cut_m=options.cut_m,
            today=self.today,
        )
        shown = {entry.approach.id for entry in entries}
        return self.shown(
            "analytics/pages/board.html",
            {
                "session": session,
                "is_competition": session.kind == SessionKind.COMPETITION.value,
                "entries": [_as_text(entry) for entry in entries],
                "choices": [each for each in self._choices() if each.id not in shown],
                "chosen": chosen,
                "options": options,
                "numbers_of_attempts": range(1, MOST_ATTEMPTS + 1),
                "caution": told.caution(),
                "address_of_attempts": f"/api/v1/clubs/{club}/sessions/{session.id}/attempts/",
            },
        )

    def _choices(self) -> Sequence[Approach]:
        approaches = approach_selectors.list_approaches_for(self.caller, today=self.today)
        in_use = approaches.filter(archived_at=None, athlete__archived_at=None)
        names = ("athlete__family_name", "athlete__given_name", "code")
        return list(in_use.select_related("athlete").order_by(*names))


def _id_of(given: str) -> UUID:
    try:
        return UUID(given)
    except ValueError as error:
        raise Http404 from error


def _options_of(request: HttpRequest) -> Options:
    """Return what was said; what cannot be meant counts as not said: the form shows it empty."""
    attempts, cut = request.GET.get("attempts", ""), request.GET.get("cut_m", "")
    given = int(attempts) if _NUMBER.fullmatch(attempts) else 0
    cut_m = float(cut.replace(",", ".")) if _CENTIMETRES.fullmatch(cut) else 0.0
    return Options(
        attempts=given if 1 <= given <= MOST_ATTEMPTS else MOST_ATTEMPTS,
        cut_m=cut_m if 0 < cut_m <= 25 else None,
    )


def _as_text(entry: Entry) -> dict[str, Any]:
    """Return a run-up on the board as it is read."""
    found = entry.next_attempt
    mark_m, contest = found.start_mark_m, found.contest
    say = next_attempt.tell(found)
    finishes = {each.finish for each in entry.attempts}
    return {
        "approach": entry.approach,
        "athlete": entry.approach.athlete,
        "is_over": contest is not None and not contest.attempts_left,
        "is_warming_up": finishes == {Finish.RUN_THROUGH.value},
        "mark": None if mark_m is None else words.metres(mark_m, 2),
        "mark_m": "" if mark_m is None else f"{mark_m:.2f}",
        "mark_is_for": _what_the_mark_is_for(found),
        "aim": words.centimetres(found.aim_m),
        "told": say,
        # After a warm-up the mark is for the day as it is, wind and all.
        "winds": [] if found.today is not None or mark_m is None else _by_wind(entry, mark_m),
        "winds_are_usual": isinstance(entry.winds.table, WindTable) and not entry.winds.table.n,
        "contest": contest,
        "best": None
        if contest is None or contest.best_m is None
        else words.metres(contest.best_m, 2),
        "attempts": _attempts(entry.attempts),
        "n_jumps": _n_jumps(entry.attempts),
        "rests_on": words.attempts(len(entry.run_ups)),
        "through": timezone.localtime(entry.run_ups.started_at[-1]) if len(entry.run_ups) else None,
    }


def _what_the_mark_is_for(found: NextAttempt) -> str:
    if found.today is not None:
        return "Run from, as today is"
    if found.wind_mps is None:
        return "Run from, in still air"
    return f"Run from, at {_wind(found.wind_mps, 1)} m/s"


def _wind(wind_mps: float, decimals: int) -> str:
    rounded = round(wind_mps, decimals)
    return f"{rounded:+.{decimals}f}".replace("-", "−") if rounded else f"{0:.{decimals}f}"


def _by_wind(entry: Entry, mark_m: float) -> list[dict[str, Any]]:
    """Return the mark for each wind, given the one that is advised for the wind so far."""
    table = entry.winds.table
    if not isinstance(table, WindTable):
        return []
    calm_m = mark_m - entry.next_attempt.wind_moves_m
    blows_mps = entry.next_attempt.wind_mps or 0.0
    moves = dict(zip(table.wind_mps.tolist(), table.move_m.tolist(), strict=True))
    return [
        {
            "wind": _wind(wind, 0),
            "mark": words.number(calm_m + moves[wind], 2),
            "is_advised": abs(wind - blows_mps) <= _HALF_A_ROW_MPS,
        }
        for wind in _WINDS_MPS
        if wind in moves
    ]


def _n_jumps(attempts: Sequence[Attempt]) -> int:
    return sum(
        each.finish == Finish.JUMP.value and each.outcome != Outcome.BAULK.value
        for each in attempts
    )


def _attempts(attempts: Sequence[Attempt]) -> list[dict[str, Any]]:
    """Return what was stored of a session so far, the jumps numbered as the officials do."""
    shown, n_jumps = [], 0
    for attempt in attempts:
        is_jump = attempt.finish == Finish.JUMP.value and attempt.outcome != Outcome.BAULK.value
        n_jumps += is_jump
        toe_m = attempt.toe_m[0] if attempt.toe_m else float("nan")
        shown.append(
            {
                "number": n_jumps if is_jump else None,
                "kind": attempt.get_finish_display(),
                "result": _result(attempt),
                "is_no_jump": attempt.outcome == Outcome.NO_JUMP.value,
                "toe": None if toe_m != toe_m else words.place(toe_m),  # noqa: PLR0124  # NaN
                "wind": None if attempt.wind_mps is None else f"{_wind(attempt.wind_mps, 1)} m/s",
                "start_mark": None
                if attempt.start_mark_m is None
                else words.metres(attempt.start_mark_m, 2),
                "external_id": attempt.external_id,
            }
        )
    return shown


def _result(attempt: Attempt) -> str:
    if attempt.official_m is not None:
        return words.metres(float(attempt.official_m), 2)
    if attempt.finish == Finish.RUN_THROUGH.value:
        return Finish.RUN_THROUGH.label
    return str(attempt.get_outcome_display())
