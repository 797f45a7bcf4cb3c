"""What approaches and pushes refuse."""

from common.errors import DomainError


class RefusedBatchError(DomainError):
    """A batch that was to be stored whole or not at all has rows that cannot be stored."""

    code = "batch_refused"
    status = 422
    title = "Nothing was stored, because not every row could be"


class TooManyRowsError(DomainError):
    """A batch holds more rows than one request may bring."""

    code = "too_many_rows"
    status = 413
    title = "The batch has too many rows"


class RefusedRowError(DomainError):
    """One attempt breaks a rule; the faults say which."""

    code = "row_refused"
    status = 422
    title = "The attempt was refused"


class ConflictingRowError(DomainError):
    """The source sent this external id before, with other content. Nothing was overwritten."""

    code = "conflict"
    status = 409
    title = "This external id is stored with other content"


class AlreadyReplayedError(DomainError):
    """A row of the quarantine was stored already."""

    code = "already_replayed"
    status = 409
    title = "This row was replayed already"


class PlanOutOfOrderError(DomainError):
    """A plan revision would start before the one that it replaces."""

    code = "plan_out_of_order"
    status = 409
    title = "A later revision starts later"


class RefusedCorrectionError(DomainError):
    """What a correction would make of an attempt breaks a rule; the faults say which."""

    code = "correction_refused"
    status = 422
    title = "The correction was refused, and nothing was changed"


class AlreadyVoidedError(DomainError):
    """The attempt does not count any more, and stays as it was."""

    code = "already_voided"
    status = 409
    title = "This attempt was voided"


class UnknownAttemptError(DomainError):
    """No attempt that the caller may see has this id."""

    code = "unknown_attempt"
    status = 404
    title = "The club has no such attempt"


class AlreadyMatchedError(DomainError):
    """The gate run belongs to another attempt."""

    code = "already_matched"
    status = 409
    title = "This gate run is matched already"


class NotMatchedError(DomainError):
    """The gate run belongs to no attempt."""

    code = "not_matched"
    status = 409
    title = "This gate run is not matched"


class GatesFilledError(DomainError):
    """The attempt has gates already, and they are not overwritten."""

    code = "gates_filled"
    status = 409
    title = "This attempt has gates already"


class RefusedMatchError(DomainError):
    """With these gates the attempt would break a rule; the faults say which."""

    code = "match_refused"
    status = 422
    title = "The gates do not fit this attempt"


class ApproachInUseError(DomainError):
    """Plans or attempts were made for the event, the steps and the start of an approach."""

    code = "approach_in_use"
    status = 409
    title = "Plans or attempts were made for this; another run-up is another approach"
