"""The arrays of many readings side by side, for checks and for COPY."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import numpy.typing as npt

from approaches.services.readings import Reading

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Ragged:
    """Arrays of different lengths laid end to end; array i is `values[starts[i]:starts[i + 1]]`."""

    values: Floats
    starts: Ints

    @property
    def lengths(self) -> Ints:
        return np.diff(self.starts)

    @property
    def rows(self) -> Ints:
        """Return, beside each value, the index of its array."""
        return np.repeat(np.arange(len(self.starts) - 1), self.lengths)

    @property
    def places(self) -> Ints:
        """Return, beside each value, its index within its array."""
        return np.arange(len(self.values)) - np.repeat(self.starts[:-1], self.lengths)


@dataclass(frozen=True, slots=True)
class Columns:
    """What the readings of a batch measured; footfall arrays of one reading share a length.

    An array that was not sent is filled with NaN (for contacts None) to the length of the others:
    "not sent" and "all unknown" are the same thing. So footfalls at the far end of which nothing is
    known are left away.
    """

    toe_m: Ragged
    touchdown_s: Ragged
    toe_off_s: Ragged
    gate_at_m: Ragged
    gate_time_s: Ragged
    contacts: list[tuple[str | None, ...]]
    unequal_footfalls: list[int]
    unequal_gates: list[int]


def columns_of(readings: Sequence[Reading]) -> Columns:
    """Lay the arrays of `readings` side by side.

    Readings whose arrays differ in length cannot be laid out; they are listed and left empty.
    """
    footfalls: list[tuple[Sequence[float | None], ...]] = []
    contacts: list[tuple[str | None, ...]] = []
    gates: list[tuple[Sequence[float | None], ...]] = []
    unequal_footfalls, unequal_gates = [], []
    for index, reading in enumerate(readings):
        sent = reading.footfalls
        arrays = (
            () if sent is None else (sent.toe_m, sent.touchdown_s, sent.toe_off_s, sent.contact)
        )
        lengths = {len(array) for array in arrays if array}
        if len(lengths) > 1:
            unequal_footfalls.append(index)
        if sent is None or len(lengths) != 1:
            footfalls.append(((), (), ()))
            contacts.append(())
        else:
            count = _count_known(arrays, lengths.pop())
            unknown = (None,) * count
            footfalls.append(
                (
                    sent.toe_m[:count] if sent.toe_m else unknown,
                    sent.touchdown_s[:count] if sent.touchdown_s else unknown,
                    sent.toe_off_s[:count] if sent.toe_off_s else unknown,
                )
            )
            contacts.append(tuple(sent.contact[:count]) if sent.contact else unknown)
        passed = reading.gates
        if passed is None or len(passed.at_m) != len(passed.time_s):
            gates.append(((), ()))
            if passed is not None:
                unequal_gates.append(index)
        else:
            gates.append((passed.at_m, passed.time_s))
    return Columns(
        toe_m=_ragged(row[0] for row in footfalls),
        touchdown_s=_ragged(row[1] for row in footfalls),
        toe_off_s=_ragged(row[2] for row in footfalls),
        gate_at_m=_ragged(row[0] for row in gates),
        gate_time_s=_ragged(row[1] for row in gates),
        contacts=contacts,
        unequal_footfalls=unequal_footfalls,
        unequal_gates=unequal_gates,
    )


def _count_known(arrays: Iterable[Sequence[object] | None], length: int) -> int:
    """Return how many footfalls there are up to the last one of which something is known."""
    known = [array for array in arrays if array]
    while length and all(array[length - 1] is None for array in known):
        length -= 1
    return length


def _ragged(arrays: Iterable[Sequence[float | None]]) -> Ragged:
    arrays = list(arrays)
    starts = np.zeros(len(arrays) + 1, dtype=np.int64)
    np.cumsum([len(array) for array in arrays], out=starts[1:])
    # NumPy reads None as NaN here; adding zero turns -0.0 into 0.0, which is the same place.
    values = np.array(list(chain.from_iterable(arrays)), dtype=np.float64) + 0.0
    return Ragged(values=values, starts=starts)
