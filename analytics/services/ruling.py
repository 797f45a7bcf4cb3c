"""The club's own alert rules."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from analytics import selectors
from analytics.core import alert_settings
from analytics.core.alert_settings import Kind
from analytics.models import AlertRule
from analytics.selectors import HeldRule
from clubs.models import Club
from clubs.selectors import Caller
from clubs.services import auditing
from common.club_scope import club_scope
from common.errors import Fault, InvalidInputError, StaleVersionError
from common.versions import Expected


def change_alert_rule(
    *,
    club: Club,
    kind: str,
    expected: Expected,
    changes: Mapping[str, Any],
    caller: Caller | None = None,
) -> HeldRule:
    """Switch a rule on or off, or give it other thresholds; return what holds then.

    `changes` holds `is_active`, and `thresholds` to change by name; None takes one back to its
    default. The change raises the stamp of the club's rules: the sweep finds every series that was
    judged by other ones, and judges it anew from its first session.

    Raises
    ------
    NotFoundError
        There is no such kind.
    StaleVersionError
        Somebody else changed the rule meanwhile.
    InvalidInputError
        A threshold breaks a rule, or is none of this kind.
    """
    with club_scope(club):
        # One change of a club at a time: a rule that has no row yet cannot be locked itself.
        Club.objects.select_for_update(no_key=True).get(id=club.id)
        held = selectors.get_alert_rule(kind)
        if not expected.allow(held.version):
            raise StaleVersionError(f"The version now is {held.version}; read it, decide again.")
        own = _merge(held, changes.get("thresholds", {}))
        is_active = changes.get("is_active", held.is_active)
        changed = sorted(
            name
            for name in {*own, *held.own_thresholds}
            if own.get(name) != held.own_thresholds.get(name)
        )
        if is_active != held.is_active:
            changed.insert(0, "is_active")
        if not changed:
            return held
        rule, _ = AlertRule.objects.update_or_create(
            club=club, kind=held.kind.value, defaults={"is_active": is_active, "thresholds": own}
        )
        auditing.record_change(club=club, caller=caller, subject=rule, changed=changed)
        return selectors.get_alert_rule(kind)


def _merge(held: HeldRule, changes: Mapping[str, Any]) -> dict[str, int | float]:
    """Return the club's own thresholds with some changed, once they keep every rule."""
    of_kind = alert_settings.THRESHOLDS_OF_KIND[held.kind]
    foreign = [name for name in changes if name not in of_kind]
    if foreign:
        raise InvalidInputError(
            faults=[
                Fault(
                    f"/thresholds/{name}",
                    "threshold_of_another_kind",
                    f"{Kind(held.kind)} is judged by {', '.join(of_kind)}.",
                )
                for name in foreign
            ]
        )
    merged = {**held.own_thresholds, **changes}
    own = {name: value for name, value in merged.items() if value is not None}
    broken = alert_settings.find_broken_rules({**asdict(alert_settings.RULE_DEFAULTS), **own})
    if broken:
        raise InvalidInputError(
            faults=[
                Fault(f"/thresholds/{each.name}", "threshold_out_of_range", f"It is {each.rule}.")
                for each in broken
            ]
        )
    return own
