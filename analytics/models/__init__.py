"""Figures that follow each series, the alerts that they raise, and what was asked for."""

from analytics.models.series import (
    Advice,
    AdviceDecision,
    AdviceKind,
    Alert,
    AlertKind,
    AlertRule,
    SeriesPoint,
    SeriesRow,
    SeriesState,
    SessionPoint,
)
from analytics.models.work import AskedWork, WorkFailure, WorkKind, WorkState

__all__ = [
    "Advice",
    "AdviceDecision",
    "AdviceKind",
    "Alert",
    "AlertKind",
    "AlertRule",
    "AskedWork",
    "SeriesPoint",
    "SeriesRow",
    "SeriesState",
    "SessionPoint",
    "WorkFailure",
    "WorkKind",
    "WorkState",
]
