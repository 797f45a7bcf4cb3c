"""Run-ups, their plans, and what was measured of each attempt."""

from approaches.models.attempts import (
    CLASS_OF_FINISH,
    FINISHES_OF_CLASS,
    Attempt,
    AttemptVersion,
    ChangeKind,
    Contact,
    Finish,
    FinishClass,
    LeftOut,
    Outcome,
    Phase,
)
from approaches.models.gates import GateRun, MatchedBy, Unmatched
from approaches.models.outbox import PendingRefresh
from approaches.models.plans import Approach, Plan, Session, SessionKind, StartStyle
from approaches.models.quarantine import QuarantinedRow, RowKind

__all__ = [
    "CLASS_OF_FINISH",
    "FINISHES_OF_CLASS",
    "Approach",
    "Attempt",
    "AttemptVersion",
    "ChangeKind",
    "Contact",
    "Finish",
    "FinishClass",
    "GateRun",
    "LeftOut",
    "MatchedBy",
    "Outcome",
    "PendingRefresh",
    "Phase",
    "Plan",
    "QuarantinedRow",
    "RowKind",
    "Session",
    "SessionKind",
    "StartStyle",
    "Unmatched",
]
