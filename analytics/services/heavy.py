"""Which questions a worker answers, and how: one entry for each kind.

A kind is three functions, so that the framework around it (`working`, `rounds`) knows nothing of
what is asked. To add one: its name in `WorkKind`, its entry in `KINDS`, and a view that asks.
"""

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from typing import Any

from analytics.answers.told import Told
from analytics.models import WorkKind
from analytics.services import squad_seasons, what_ifs

Asked = Mapping[str, Any]
# How many parts are done, of how many. To be called after each part, every few seconds at least.
Step = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Heavy:
    """How one kind of question is answered.

    Attributes
    ----------
    read
        Read what the answer follows from, in a reading scope of the club; quick.
    key_of
        Name what was read, so that it is equal when and only when the answer must be.
    work_out
        Return the answer as plain JSON, outside of any scope and transaction; as long as it takes.
        What it draws at random has a fixed seed: worked out twice, the answer is the same.
    tell
        Say a stored answer in words, in the language that is in use.
    """

    read: Callable[[Asked], Any]
    key_of: Callable[[Any], Hashable]
    work_out: Callable[[Any, Asked, Step], dict[str, Any]]
    tell: Callable[[Mapping[str, Any]], Told]


KINDS: dict[str, Heavy] = {
    WorkKind.WHAT_IF.value: Heavy(
        read=what_ifs.read,
        key_of=what_ifs.key_of,
        work_out=what_ifs.work_out,
        tell=what_ifs.tell,
    ),
    WorkKind.SQUAD_SEASON.value: Heavy(
        read=squad_seasons.read,
        key_of=squad_seasons.key_of,
        work_out=squad_seasons.work_out,
        tell=squad_seasons.tell,
    ),
}
