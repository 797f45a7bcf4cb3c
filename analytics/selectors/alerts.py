"""Alerts, and the rules that they are judged by."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID

from django.db.models import Q, QuerySet

from analytics.core import alert_settings
from analytics.core.alert_settings import Kind, RuleSettings
from analytics.models import Alert, AlertRule, SeriesState
from analytics.selectors.series import Series
from approaches import selectors as approach_selectors
from clubs.selectors import Caller
from common.errors import NotFoundError


def list_alerts_for(caller: Caller, *, today: date) -> QuerySet[Alert]:
    """Return the alerts about athletes that the caller may see."""
    approaches = approach_selectors.list_approaches_for(caller, today=today)
    alerts = Alert.objects.filter(approach_id__in=approaches.values("id"))
    return alerts.select_related("approach", "plan")


def get_alert_for(caller: Caller, alert_id: UUID, *, today: date) -> Alert:
    """Return an alert that the caller may see.

    Raises
    ------
    NotFoundError
        There is none, or it is about a stranger.
    """
    alert = list_alerts_for(caller, today=today).filter(id=alert_id).first()
    if alert is None:
        raise NotFoundError
    return alert


def read_opened_since(series: Series, since: datetime) -> list[tuple[str, str]]:
    """Return the attempt that opened each alert about a series, and its kind, since a moment."""
    alerts = Alert.objects.filter(
        approach_id=series.approach_id,
        finish_class=series.finish_class.value,
        opened_at__gte=since,
    )
    rows = alerts.order_by("opened_at", "id").values_list("opened_at_attempt_id", "kind")
    return [(str(attempt_id), kind) for attempt_id, kind in rows]


def lock_alert(alert_id: UUID) -> Alert:
    """Return an alert of the club in scope, locked against other changes.

    Raises
    ------
    NotFoundError
        The club has no such alert.
    """
    alerts = Alert.objects.select_related("approach", "plan")
    # The plan may be none, and what may be none cannot be locked.
    alert = alerts.select_for_update(of=("self",), no_key=True).filter(id=alert_id).first()
    if alert is None:
        raise NotFoundError
    return alert


def put_off_on(day: date) -> Q:
    """Return the condition that an alert is put off on `day`: on its own day it is back."""
    return Q(put_off_until_date__gt=day)


Thresholds = Mapping[str, int | float]


@dataclass(frozen=True, slots=True)
class HeldRule:
    """What holds in a club for one kind of alert."""

    kind: Kind
    is_active: bool = True
    own_thresholds: Thresholds = field(default_factory=dict)  # the others are the defaults
    version: int = 0  # 0 while the club has set nothing

    @property
    def settings(self) -> RuleSettings:
        return RuleSettings(**self.own_thresholds)  # type: ignore[arg-type]  # checked when set

    @property
    def thresholds(self) -> Thresholds:
        return self._named(self.settings)

    @property
    def defaults(self) -> Thresholds:
        return self._named(alert_settings.RULE_DEFAULTS)

    def _named(self, settings: RuleSettings) -> Thresholds:
        names = alert_settings.THRESHOLDS_OF_KIND[self.kind]
        return {name: getattr(settings, name) for name in names}


def list_alert_rules() -> list[HeldRule]:
    """Return what holds in the club in scope for each kind of alert, read at one moment."""
    own = {
        Kind(rule.kind): HeldRule(
            kind=Kind(rule.kind),
            is_active=rule.is_active,
            own_thresholds=rule.thresholds,
            version=rule.version,
        )
        for rule in AlertRule.objects.all()
    }
    return [own.get(kind) or HeldRule(kind=kind) for kind in Kind]


def stamp_of(rules: Sequence[HeldRule]) -> int:
    """Return what grows with each change of a club's rules; 0 while it has set nothing."""
    return sum(rule.version for rule in rules)


def count_series_judged_otherwise(rules: Sequence[HeldRule]) -> int:
    """Return how many series of the club in scope were judged by other rules than these."""
    return SeriesState.objects.filter(rules_stamp__lt=stamp_of(rules)).count()


def get_alert_rule(kind: str) -> HeldRule:
    """Return what holds in the club in scope for one kind of alert.

    Raises
    ------
    NotFoundError
        There is no such kind.
    """
    for rule in list_alert_rules():
        if rule.kind == kind:
            return rule
    raise NotFoundError
