"""What analytics refuses."""

from common.errors import DomainError


class AlertClosedError(DomainError):
    """The matter of an alert is closed: nobody needs to see to it any more."""

    code = "alert_closed"
    status = 409
    title = "This alert is closed"


class NoAdviceError(DomainError):
    """There are not enough attempts for an advice, so there is none to decide on."""

    code = "no_advice"
    status = 409
    title = "There is no advice yet"


class AdviceChangedError(DomainError):
    """What is advised now is not what was read: an attempt came, or was corrected."""

    code = "advice_changed"
    status = 409
    title = "The advice is another one now"


class PlanMissingError(DomainError):
    """There is no plan from which the next revision could be made."""

    code = "plan_missing"
    status = 409
    title = "This approach has no plan yet"


class WorkNotDoneError(DomainError):
    """The question has no answer that could be printed: it waits, goes on, or has failed."""

    code = "work_not_done"
    status = 409
    title = "This question is not answered yet"


class AskedByOthersError(DomainError):
    """Somebody else asked this question, or asked it too."""

    code = "asked_by_others"
    status = 403
    title = "Who alone asked a question calls it off, or an admin"


class NoPaperError(DomainError):
    """There is no paper of this kind of question."""

    code = "no_paper"
    status = 409
    title = "There is no paper of this kind of question"


class TooMuchWorkError(DomainError):
    """As many questions of the club, or of one member, as may wait for a worker wait already."""

    code = "too_much_work"
    status = 429
    title = "Many questions of the club wait for a worker; ask again when some are answered"
    retry_after_s = 10
