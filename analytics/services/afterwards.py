"""What came after advice that was decided on."""

from collections.abc import Sequence
from uuid import UUID

from analytics import selectors
from analytics.answers import looking_back
from analytics.answers.looking_back import Afterwards
from analytics.models import Advice
from analytics.selectors import Series
from approaches.models import FinishClass


def look_back_on(advice: Sequence[Advice]) -> dict[UUID, Afterwards | None]:
    """Return what came after each advice of the club in scope; each series is read once."""
    by_series: dict[tuple[UUID, str], list[Advice]] = {}
    for each in advice:
        by_series.setdefault((each.approach_id, each.finish_class), []).append(each)
    found: dict[UUID, Afterwards | None] = {}
    for (approach_id, finish_class), those in sorted(by_series.items()):
        landings = selectors.read_landings(
            Series(approach_id, FinishClass(finish_class)),
            since=min(each.first_started_at for each in those),
            last_footfall=max(each.figures["footfall"] for each in those),
        )
        found |= {each.id: looking_back.look_back(each, landings) for each in those}
    return found
