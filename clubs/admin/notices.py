"""What waits for a club's admin, told on the first page by the apps that know it."""

from collections.abc import Callable
from dataclasses import dataclass

from clubs.selectors import Caller


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that a person has to look at: how many, and where.

    Attributes
    ----------
    count
        How many rows wait; with none, nothing is said.
    words, why
        What they are, said after the count; and what happens to them here.
    address
        Of the page that lists them.
    """

    count: int
    words: str
    why: str
    address: str


Gather = Callable[[Caller], Notice]

_gatherers: list[tuple[int, Gather]] = []


def add_notice(place: int, gather: Gather) -> None:
    """Have the first page ask `gather`; notices stand in the order of their places."""
    _gatherers.append((place, gather))
    _gatherers.sort(key=lambda each: each[0])


def list_notices(caller: Caller) -> list[Notice]:
    """Return what waits for the admin now; asked in the scope of the club."""
    notices = [gather(caller) for _, gather in _gatherers]
    return [notice for notice in notices if notice.count]
