"""Turn what the database refuses into an answer that names the field."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import IntegrityError, transaction
from psycopg.errors import ExclusionViolation, UniqueViolation

from common.errors import AlreadyExistsError, Fault


@contextmanager
def refuse_duplicates(field: str, detail: str) -> Iterator[None]:
    """Refuse, naming `field`, when the block breaks a unique or an exclusion constraint.

    Other errors go on.

    Raises
    ------
    AlreadyExistsError
        The database holds such a row already. What the block did is undone; the transaction
        around it can go on.
    """
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        if not isinstance(error.__cause__, UniqueViolation | ExclusionViolation):
            raise
        fault = Fault(f"/{field}", AlreadyExistsError.code, detail)
        raise AlreadyExistsError(detail, faults=[fault]) from error
