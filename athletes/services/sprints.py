"""Sprint tests, from which the speed curve is fitted."""

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import pairwise
from typing import Any
from uuid import UUID

from athletes.models import Athlete, SprintTest
from athletes.services.records import refuse_days_ahead
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, NotFoundError
from common.versions import Expected, change_row

# Between two splits nobody runs slower or faster than this: beyond it a number was mistyped; ours.
SLOWEST_MPS, FASTEST_MPS = 0.5, 13.0

Split = Mapping[str, float]


def add_sprint_test(
    *,
    club: Club,
    athlete: Athlete,
    tested_date: date,
    start: SprintTest.Start,
    splits: Sequence[Split],
    caller: Caller | None = None,
) -> SprintTest:
    """Note the split times of one sprint. Several sprints of a day are several tests.

    Raises
    ------
    InvalidInputError
        The day lies ahead, the splits do not grow, or a speed between two cannot be.
    """
    refuse_days_ahead(club, tested_date=tested_date)
    check_splits(splits)
    with club_scope(club):
        test = SprintTest.objects.create(
            club=club,
            athlete=athlete,
            tested_date=tested_date,
            start=start,
            splits=[dict(split) for split in splits],
        )
        auditing.record_audit(
            club=club,
            caller=caller,
            action="sprint_test_added",
            subjects={"sprint_test": [test.id]},
        )
        return test


def change_sprint_test(
    *,
    club: Club,
    athlete: Athlete,
    sprint_test_id: UUID,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> SprintTest:
    """Put a sprint test right; `splits` among the changes takes the place of all that it had.

    Raises
    ------
    NotFoundError
        The athlete has no such test.
    StaleVersionError
        Somebody else changed it meanwhile.
    InvalidInputError
        As `add_sprint_test`.
    """
    own = dict(changes)
    refuse_days_ahead(club, tested_date=own.get("tested_date"))
    if "splits" in own:
        own["splits"] = [dict(split) for split in own["splits"]]
        check_splits(own["splits"])
    with club_scope(club):
        test = (
            SprintTest.objects.select_for_update(no_key=True)
            .filter(id=sprint_test_id, athlete=athlete)
            .first()
        )
        if test is None:
            raise NotFoundError
        changed = change_row(test, expected=expected, changes=own)
        auditing.record_change(club=club, caller=caller, subject=test, changed=changed)
        return test


def check_splits(splits: Sequence[Split], *, at: str = "/splits") -> None:
    """Refuse splits that no sprint has; `at` is where they stand in what was sent.

    Raises
    ------
    InvalidInputError
        The splits do not grow, or a speed between two cannot be.
    """
    faults = []
    for index, (before, after) in enumerate(pairwise(splits), start=1):
        run_m, took_s = after["at_m"] - before["at_m"], after["time_s"] - before["time_s"]
        if run_m <= 0:
            faults.append(
                Fault(f"{at}/{index}/at_m", "distances_must_grow", "Each split is farther on.")
            )
        elif took_s <= 0:
            faults.append(Fault(f"{at}/{index}/time_s", "times_must_grow", "Each split is later."))
        elif not SLOWEST_MPS <= run_m / took_s <= FASTEST_MPS:
            faults.append(
                Fault(
                    f"{at}/{index}/time_s",
                    "speed_out_of_range",
                    f"From split to split the speed is {SLOWEST_MPS:g} to {FASTEST_MPS:g} m/s; "
                    f"this is {run_m / took_s:.2f}.",
                )
            )
    if faults:
        raise InvalidInputError(faults=faults)
