"""What a client would like (RFC 7240): `Prefer: wait=2`, wait that long for fresher figures."""

import re
from collections.abc import Iterator

from django.http import HttpRequest

LONGEST_WAIT_S = 10

_NAME = r"[!#$%&'*+.^_`|~0-9A-Za-z-]+"
_WORD = rf'(?:{_NAME}|"(?:[^"\\]|\\.)*")'
_PAIR = rf"{_NAME}(?:[ \t]*=[ \t]*{_WORD})?"
# A preference with its parameters; the comma after it, or the end.
_PREFERENCE = re.compile(
    rf"[ \t]*(?P<name>{_NAME})(?:[ \t]*=[ \t]*(?P<value>{_WORD}))?"
    rf"(?:[ \t]*;[ \t]*(?:{_PAIR})?)*[ \t]*(?:,|$)"
)


def preferred_wait(request: HttpRequest) -> int | None:
    """Return how many seconds the client would wait, at most `LONGEST_WAIT_S`; None without a wish.

    What cannot be read is no preference, and is ignored like one that we do not know. Of several
    only the first counts.
    """
    for name, value in _preferences(request.headers.get("Prefer", "")):
        if name == "wait":
            digits = value.strip('"')
            if not re.fullmatch("[0-9]+", digits):
                return None
            # Longer texts are large numbers, which int() may refuse.
            return LONGEST_WAIT_S if len(digits) > 4 else min(int(digits), LONGEST_WAIT_S)
    return None


def _preferences(field: str) -> Iterator[tuple[str, str]]:
    """Yield each preference that can be read, and skip to the next comma where one cannot."""
    place = 0
    while place < len(field):
        found = _PREFERENCE.match(field, place)
        if found is None:
            place = field.find(",", place) + 1 or len(field)
        else:
            yield found["name"].lower(), found["value"] or ""
            place = found.end()
