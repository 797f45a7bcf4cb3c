"""What analytics refuses."""

from common.errors import DomainError


class AlertClosedError(DomainError):
    """The matter of an alert is closed: nobody needs to see to it any more."""

    code = "alert_closed"
    status = 409
    title = "This alert is closed"
