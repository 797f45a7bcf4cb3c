"""How much one push may bring, so that no body can fill the memory."""

from approaches.errors import TooManyRowsError
from common.errors import Fault

MAX_ROWS = 5_000
MAX_BODY_BYTES = 10 * 1024 * 1024
MAX_ROW_BYTES = 64 * 1024
# A row of 40 footfalls and 40 gates has 253 commas outside of texts, and texts have room for 256.
MAX_ROW_COMMAS = 600
# So many values in one body take some 60 MB when all are decoded at once.
MAX_COMMAS_AT_ONCE = 1_000_000

TOO_MANY_VALUES = "An attempt has at most 40 footfalls and 40 gates."


def check_count(count: int) -> None:
    """Refuse a batch of too many rows.

    Raises
    ------
    TooManyRowsError
        There are more than `MAX_ROWS`.
    """
    if count > MAX_ROWS:
        raise TooManyRowsError(f"A batch has at most {MAX_ROWS} rows; this one has more.")


def find_oversize(raw: bytes) -> Fault | None:
    """Return why a row is not even looked into, if it is larger than an attempt can be."""
    if len(raw) > MAX_ROW_BYTES:
        detail = f"A row has at most {MAX_ROW_BYTES} bytes; this one has {len(raw)}."
        return Fault("", "row_too_large", detail)
    if raw.count(b",") > MAX_ROW_COMMAS:
        return Fault("", "too_many_values", TOO_MANY_VALUES)
    return None
