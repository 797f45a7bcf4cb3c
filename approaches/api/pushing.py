"""The doors for attempts: read the body fast, call one service, say what became of each row."""

import json
from collections.abc import Callable
from functools import partial
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.response import Response

from approaches.api import serializers
from approaches.services import (
    batches,
    forms,
    limits,
    pushing,
    readings,
    recording,
    replaying,
    typing_in,
)
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs import selectors as club_selectors
from clubs.api.base import ClubView
from clubs.selectors import DEVICE
from common.api import bodies
from common.api.parsers import read_json
from common.api.preconditions import find_idempotency_key
from common.api.problems import UnsupportedMediaTypeError

JSON, NDJSON, CSV = "application/json", "application/x-ndjson", "text/csv"
# What a body may say about itself: anything else would be read as what it is not.
_UNDERSTOOD = {"charset": {"utf-8", "utf8"}, "header": {"present"}}
MAX_ROWS_ANSWERED = 100

PROBLEMS_OF_ONE = {
    "409": "The id is stored with other content; nothing was overwritten.",
    "411": "The body came in chunks whose end the server does not know.",
    "413": "The body is too large.",
    "415": "The content type, its character set or the encoding is not taken here.",
    "422": "The attempt breaks a rule; it waits in quarantine.",
}
PROBLEMS_OF_TYPED = {
    "409": "The same request is being answered at this moment, or was stored with other content.",
    "422": "The attempt breaks a rule and is not kept, or the key was used for another request.",
}
PROBLEMS_OF_BATCH = {
    "411": "The body came in chunks whose end the server does not know.",
    "413": "The body is too large or has too many rows.",
    "415": "The content type, its character set or the encoding is not taken here.",
    "422": "all_or_nothing, and some row cannot be stored; nothing was stored.",
}
EXAMPLE = {
    "external_id": "run-000123",
    "athlete": "ext:A-17",
    "approach": "LJ-16",
    "session": "2026-05-02-am",
    "started_at": "2026-05-02T09:14:07.250+02:00",
    "finish": "jump",
    "phases": ["acceleration", "transition", "attack"],
    "start_mark_m": 34.20,
    "wind_mps": 0.8,
    "outcome": "valid",
    "official_m": "6.41",
    "footfalls": {
        "toe_m": [0.07, 2.21, 4.58],
        "touchdown_s": [5.312, 5.080, 4.826],
        "toe_off_s": [5.428, 5.181, 4.935],
        "contact": ["flat", "flat", "ball"],
    },
    "gates": {"at_m": [31, 11, 6, 1], "time_s": [1.052, 4.154, 4.700, 5.241]},
}


EXAMPLE_TABLE = (
    "external_id,athlete,approach,session,started_at,finish,outcome,official_m,"
    "toe_m_0,toe_m_1,toe_m_2,contact_0,contact_1,gate_at_m_0,gate_at_m_1,gate_time_s_0,gate_time_s_1\r\n"
    "run-000123,ext:A-17,LJ-16,2026-05-02-am,2026-05-02T09:14:07.250+02:00,jump,valid,6.41,"
    "0.07,2.21,4.58,flat,,11,6,4.154,4.700\r\n"
)


def _flag(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(name, bool, description=description, default=False)


DRY_RUN = _flag("dry_run", "Check and answer, and store nothing.")
_MAKE_SESSIONS = _flag("make_sessions", "Make training sessions that the club does not have yet.")
ALL_OR_NOTHING = _flag("all_or_nothing", "Store every row or none.")

one_schema = extend_schema(
    request=readings.Reading,
    responses={
        201: serializers.RowResultSerializer,
        200: serializers.RowResultSerializer,
    },
    parameters=[DRY_RUN, _MAKE_SESSIONS],
    examples=[OpenApiExample("An attempt", value=EXAMPLE, request_only=True)],
)
batch_schema = extend_schema(
    request={
        JSON: {"type": "array", "items": {"$ref": "#/components/schemas/ReadingRequest"}},
        NDJSON: OpenApiTypes.STR,
        CSV: OpenApiTypes.STR,
    },
    responses={200: serializers.RecordOutcomeSerializer},
    parameters=[DRY_RUN, ALL_OR_NOTHING, _MAKE_SESSIONS],
    examples=[
        OpenApiExample("One attempt", value=[EXAMPLE], request_only=True, media_type=JSON),
        OpenApiExample(
            "One attempt a line",
            value=json.dumps(EXAMPLE) + "\n",
            request_only=True,
            media_type=NDJSON,
        ),
        OpenApiExample("A table", value=EXAMPLE_TABLE, request_only=True, media_type=CSV),
    ],
)
_KEY = OpenApiParameter(
    "Idempotency-Key",
    str,
    OpenApiParameter.HEADER,
    description="Required, unless this is a dry run: it tells one attempt, sent twice, from two.",
)
typed_schema = extend_schema(
    request=typing_in.TypedAttempt,
    responses={
        201: serializers.RowResultSerializer,
        200: serializers.RowResultSerializer,
    },
    parameters=[_KEY, DRY_RUN],
    examples=[
        OpenApiExample(
            "Noted on a sheet",
            value={
                "athlete": "ext:A-17",
                "approach": "LJ-16",
                "started_at": "2026-05-02T09:14:00+02:00",
                "finish": "jump",
                "outcome": "valid",
                "official_m": "6.41",
                "footfalls": {"toe_m": [0.07]},
            },
            request_only=True,
        )
    ],
)
replay_schema = extend_schema(
    request=serializers.ReplaySerializer,
    responses={201: serializers.ReplayedSerializer, 200: serializers.ReplayedSerializer},
    examples=[OpenApiExample("As it was", value={}, request_only=True)],
)


class PushView(ClubView):
    """What the doors for attempts share."""

    def push_one(self) -> Response:
        self.media_type_among(JSON)
        result = pushing.record_one(
            club=self.caller.club,
            source_id=self.source_id(),
            row=batches.read_one(self.body(limits.MAX_ROW_BYTES), readings.ATTEMPTS),
            caller=self.caller,
            athletes=self.athletes(),
            dry_run=self.flag("dry_run"),
            make_sessions=self.flag("make_sessions"),
        )
        return _answer_of(result)

    def type_in(self, session_id: UUID) -> Response:
        typed = forms.read_form(self.request.data, typing_in.TypedAttempt)
        dry_run = self.flag("dry_run")

        def store() -> Response:
            return _answer_of(
                typing_in.type_attempt(
                    club=self.caller.club,
                    source_id=self.source_id(),
                    session_id=session_id,
                    typed=typed,
                    key=find_idempotency_key(self.request),
                    caller=self.caller,
                    athletes=self.athletes(),
                    dry_run=dry_run,
                )
            )

        return store() if dry_run else self._typed_once(store, typed)

    def _typed_once(self, store: Callable[[], Response], typed: typing_in.TypedAttempt) -> Response:
        athletes = self.athletes()
        check = None if athletes is None else partial(typing_in.check_seen, typed, athletes)
        return self.once(store, check=check, required=True)

    def push_batch(self) -> Response:
        outcome = pushing.record_attempts(
            club=self.caller.club,
            source_id=self.source_id(),
            rows=self.read_rows(readings.ATTEMPTS),
            caller=self.caller,
            athletes=self.athletes(),
            dry_run=self.flag("dry_run"),
            all_or_nothing=self.flag("all_or_nothing"),
            make_sessions=self.flag("make_sessions"),
        )
        return Response(batch_answer(outcome))

    def replay(self, row_id: UUID) -> Response:
        self.media_type_among(JSON)
        body = serializers.ReplaySerializer(data=read_json(self.body(limits.MAX_ROW_BYTES)))
        body.is_valid(raise_exception=True)
        result = replaying.replay_row(
            club=self.caller.club,
            row_id=row_id,
            caller=self.caller,
            mended=body.validated_data.get("row"),
        )
        return Response(
            serializers.ReplayedSerializer(result).data, status=201 if result.created else 200
        )

    def source_id(self) -> UUID:
        """Return the source that the caller pushes for; a person has one built in."""
        if self.caller.source_id is not None:
            return self.caller.source_id
        return club_selectors.get_source_of_person(self.caller)

    def athletes(self) -> QuerySet[Athlete] | None:
        if self.caller.role == DEVICE:
            return None
        return athlete_selectors.list_athletes_for(self.caller, today=self.today)

    def read_rows(
        self, shape: readings.Shape[readings.SentT]
    ) -> list[readings.Row[readings.SentT]]:
        """Return the rows of a batch, in whichever way they were written."""
        media_type = self.media_type_among(JSON, NDJSON, CSV)
        body = self.body(limits.MAX_BODY_BYTES)
        if media_type == CSV:
            return batches.read_csv_batch(body, shape)
        if media_type == NDJSON:
            return batches.read_ndjson_batch(body, shape)
        return batches.read_json_batch(body, shape)

    def media_type_among(self, *taken: str) -> str:
        """Return what the body is said to be.

        Raises
        ------
        UnsupportedMediaTypeError
            It is none of `taken`, or in other letters than UTF-8.
        """
        sent = self.request._request
        media_type = sent.content_type or ""
        told = {name: value.lower() for name, value in (sent.content_params or {}).items()}
        if media_type not in taken or any(
            told.get(name, "") not in {"", *values} for name, values in _UNDERSTOOD.items()
        ):
            raise UnsupportedMediaTypeError(f"Send {' or '.join(taken)}, in UTF-8.")
        return media_type

    def body(self, limit: int) -> bytes:
        """Return the body, inflated where it is compressed, and never more of it than the limit."""
        return bodies.read_body(self.request._request, limit=limit)


def _answer_of(result: pushing.RowResult) -> Response:
    status = 201 if result.created and result.attempt_id is not None else 200
    return Response(serializers.RowResultSerializer(result).data, status=status)


def batch_answer(outcome: recording.RecordOutcome) -> dict[str, Any]:
    return {
        "received": outcome.received,
        "created": outcome.created,
        "known": outcome.known,
        "conflicts": outcome.conflicts,
        "rejected": outcome.rejected,
        "complete": outcome.complete,
        "rows": [
            {
                "index": row.index,
                "line": row.line,
                "external_id": row.external_id,
                "code": row.faults[0].code,
                "pointer": row.faults[0].pointer,
                "detail": row.faults[0].detail,
                "send_again_helps": row.send_again_helps,
            }
            for row in outcome.rows[:MAX_ROWS_ANSWERED]
        ],
        "rows_omitted": max(0, len(outcome.rows) - MAX_ROWS_ANSWERED),
    }
