"""What was worked out before, so that asking again costs no arithmetic.

An answer follows from attempts and options alone, and their key names them with their versions. So
nothing has to be thrown away when an attempt comes or is corrected: the key is another one then.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import TypeVar, cast

MOST_REMEMBERED = 500

Found = TypeVar("Found")


class Memory:
    """The latest results, the one that was not asked for the longest forgotten first."""

    def __init__(self, most: int = MOST_REMEMBERED) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, object] = OrderedDict()
        self._lock = threading.Lock()

    def recall(self, key: Hashable, work_out: Callable[[], Found]) -> Found:
        """Return what was worked out under a key, working it out if nobody has.

        Two threads that ask for the same at once may both work it out: they find the same, and
        neither waits for the other.
        """
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return cast(Found, self._kept[key])
        found = work_out()
        with self._lock:
            self._kept[key] = found
            self._kept.move_to_end(key)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return found


# One for each web process.
memory = Memory()
