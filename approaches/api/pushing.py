"""The doors for attempts: read the body fast, call one service, say what became of each row."""

import json
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, extend_schema
from rest_framework.response import Response

from approaches.api import serializers
from approaches.services import forms, pushing, readings, replaying, typing_in
from athletes import selectors as athlete_selectors
from athletes.models import Athlete
from clubs import selectors as club_selectors
from clubs.api.base import ClubView
from clubs.selectors import DEVICE
from common.api.parsers import read_json
from common.api.problems import BodyTooLargeError, UnsupportedMediaTypeError

JSON, NDJSON = "application/json", "application/x-ndjson"
MAX_ROWS_ANSWERED = 100

PROBLEMS_OF_ONE = {
    "409": "The id is stored with other content; nothing was overwritten.",
    "413": "The body is too large.",
    "415": "The content type is not taken here.",
    "422": "The attempt breaks a rule; it waits in quarantine.",
}
PROBLEMS_OF_TYPED = {
    "409": "The same request is being answered at this moment.",
    "422": "The attempt breaks a rule and is not kept, or the key was used for another request.",
}
PROBLEMS_OF_BATCH = {
    "413": "The body is too large or has too many rows.",
    "415": "The content type is not taken here.",
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


def _flag(name: str, description: str) -> OpenApiParameter:
    return OpenApiParameter(name, bool, description=description, default=False)


_DRY_RUN = _flag("dry_run", "Check and answer, and store nothing.")
_MAKE_SESSIONS = _flag("make_sessions", "Make training sessions that the club does not have yet.")
_ALL_OR_NOTHING = _flag("all_or_nothing", "Store every row or none.")

one_schema = extend_schema(
    request=readings.Reading,
    responses={
        201: serializers.RowResultSerializer,
        200: serializers.RowResultSerializer,
    },
    parameters=[_DRY_RUN, _MAKE_SESSIONS],
    examples=[OpenApiExample("An attempt", value=EXAMPLE, request_only=True)],
)
batch_schema = extend_schema(
    request={
        JSON: {"type": "array", "items": {"$ref": "#/components/schemas/ReadingRequest"}},
        NDJSON: OpenApiTypes.STR,
    },
    responses={200: serializers.RecordOutcomeSerializer},
    parameters=[_DRY_RUN, _ALL_OR_NOTHING, _MAKE_SESSIONS],
    examples=[
        OpenApiExample("One attempt", value=[EXAMPLE], request_only=True, media_type=JSON),
        OpenApiExample(
            "One attempt a line",
            value=json.dumps(EXAMPLE) + "\n",
            request_only=True,
            media_type=NDJSON,
        ),
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
    parameters=[_KEY, _DRY_RUN],
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
    responses={201: serializers.RowResultSerializer, 200: serializers.RowResultSerializer},
    examples=[OpenApiExample("As it was", value={}, request_only=True)],
)


class PushView(ClubView):
    """What the doors for attempts share."""

    def push_one(self) -> Response:
        self._media_type_among(JSON)
        result = pushing.record_one(
            club=self.caller.club,
            source_id=self._source_id(),
            row=readings.read_row(self._body(readings.MAX_ROW_BYTES)),
            caller=self.caller,
            athletes=self._athletes(),
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
                    source_id=self._source_id(),
                    session_id=session_id,
                    typed=typed,
                    caller=self.caller,
                    athletes=self._athletes(),
                    dry_run=dry_run,
                )
            )

        return store() if dry_run else self.once(store, required=True)

    def push_batch(self) -> Response:
        media_type = self._media_type_among(JSON, NDJSON)
        body = self._body(readings.MAX_BODY_BYTES)
        rows = (
            readings.read_json_batch(body)
            if media_type == JSON
            else readings.read_ndjson_batch(body)
        )
        outcome = pushing.record_attempts(
            club=self.caller.club,
            source_id=self._source_id(),
            rows=rows,
            caller=self.caller,
            athletes=self._athletes(),
            dry_run=self.flag("dry_run"),
            all_or_nothing=self.flag("all_or_nothing"),
            make_sessions=self.flag("make_sessions"),
        )
        return Response(_batch_answer(outcome))

    def replay(self, row_id: UUID) -> Response:
        self._media_type_among(JSON)
        body = serializers.ReplaySerializer(data=read_json(self._body(readings.MAX_ROW_BYTES)))
        body.is_valid(raise_exception=True)
        result = replaying.replay_row(
            club=self.caller.club,
            row_id=row_id,
            caller=self.caller,
            mended=body.validated_data.get("row"),
        )
        return _answer_of(result)

    def _source_id(self) -> UUID:
        """Return the source that the caller pushes for; a person has one built in."""
        if self.caller.source_id is not None:
            return self.caller.source_id
        return club_selectors.get_source_of_person(self.caller)

    def _athletes(self) -> QuerySet[Athlete] | None:
        if self.caller.role == DEVICE:
            return None
        return athlete_selectors.list_athletes_for(self.caller, today=self.today)

    def _media_type_among(self, *taken: str) -> str:
        media_type = (self.request.content_type or "").partition(";")[0].strip().lower()
        encoding = self.request.META.get("HTTP_CONTENT_ENCODING", "identity")
        if media_type not in taken or encoding != "identity":
            raise UnsupportedMediaTypeError(f"Send {' or '.join(taken)}, not compressed.")
        return media_type

    def _body(self, limit: int) -> bytes:
        """Return the body, and never more of it than the limit."""
        too_large = BodyTooLargeError(f"A body has at most {limit} bytes here.")
        declared = self.request.META.get("CONTENT_LENGTH") or "0"
        if declared.isdigit() and int(declared) > limit:
            raise too_large
        body = bytes(self.request._request.read(limit + 1))
        if len(body) > limit:
            raise too_large
        return body


def _answer_of(result: pushing.RowResult) -> Response:
    status = 201 if result.created and result.attempt_id is not None else 200
    return Response(serializers.RowResultSerializer(result).data, status=status)


def _batch_answer(outcome: pushing.RecordOutcome) -> dict[str, Any]:
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
