"""Who may push and ask: sources and tokens."""

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from clubs import selectors
from clubs.api import permissions, serializers
from clubs.api.base import CHANGE_PROBLEMS, ClubList, ClubView
from clubs.services import access
from common.api.preconditions import expected_version
from common.api.schema import IDEMPOTENCY_KEY, IF_MATCH
from common.club_scope import club_scope


class SourceList(ClubList):
    """Who pushes: timing devices, scripts, imports and people."""

    rights = {"GET": permissions.WRITE_CLUB, "POST": permissions.WRITE_CLUB}
    operation_names = {"GET": "sources_list", "POST": "sources_create"}
    problems = {"POST": {"409": "A source of this name exists."}}
    serializer_class = serializers.SourceSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_sources()

    @extend_schema(responses=serializers.SourceSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewSourceSerializer,
        responses={201: serializers.SourceSerializer},
        examples=[
            OpenApiExample(
                "A timing gate",
                value={"name": "Gates at the long straight", "kind": "device"},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewSourceSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        source = access.add_source(club=self.caller.club, caller=self.caller, **body.validated_data)
        return self.created(source, route="source", source_id=source.id)


class SourceDetail(ClubView):
    """One source."""

    rights = {"GET": permissions.WRITE_CLUB, "PATCH": permissions.WRITE_CLUB}
    operation_names = {"GET": "sources_read", "PATCH": "sources_change"}
    problems = {"PATCH": {**CHANGE_PROBLEMS, "409": "The club has a source of this name."}}
    serializer_class = serializers.SourceSerializer

    def get(self, request: Request, club: str, source_id: UUID) -> Response:
        return self.kept(selectors.get_source(source_id))

    @extend_schema(
        request=serializers.SourceChangesSerializer,
        responses=serializers.SourceSerializer,
        parameters=[IF_MATCH],
        description=(
            "Closed, it pushes no more, from the next request on; what it pushed stays. A person's "
            "source follows the membership."
        ),
        examples=[OpenApiExample("Close it", value={"closed": True}, request_only=True)],
    )
    def patch(self, request: Request, club: str, source_id: UUID) -> Response:
        expected = expected_version(request)
        source = access.change_source(
            club=self.caller.club,
            source_id=source_id,
            expected=expected,
            changes=self.changes(serializers.SourceChangesSerializer),
            caller=self.caller,
        )
        return self.kept(source)


_TOKEN_EXAMPLE = OpenApiExample(
    "A token that may push",
    value={"name": "Gate computer", "scopes": ["attempts:write", "plans:read"]},
    request_only=True,
)


class SourceTokenList(ClubList):
    """Tokens of a source. Two may live at once, so that they can be changed without a gap."""

    rights = {"GET": permissions.WRITE_CLUB, "POST": permissions.WRITE_CLUB}
    problems = {"POST": {"409": "The source has two live tokens already."}}
    operation_names = {"GET": "source_tokens_list", "POST": "source_tokens_create"}
    serializer_class = serializers.TokenSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_tokens_of(selectors.get_source(self.kwargs["source_id"]))

    @extend_schema(responses=serializers.TokenSerializer(many=True))
    def get(self, request: Request, club: str, source_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewTokenSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.TokenWithSecretSerializer},
        examples=[_TOKEN_EXAMPLE],
    )
    def post(self, request: Request, club: str, source_id: UUID) -> Response:
        body = serializers.NewTokenSerializer(data=request.data)
        body.is_valid(raise_exception=True)

        def make() -> Response:
            with club_scope(self.caller.club):
                new = access.add_token(
                    club=self.caller.club,
                    source=selectors.get_source(source_id),
                    caller=self.caller,
                    **body.validated_data,
                )
            return _with_secret(new)

        return self.once(make, check=None, secret_fields={"secret"})


class SourceTokenDetail(ClubView):
    """One token of a source."""

    rights = {"DELETE": permissions.WRITE_CLUB}
    operation_names = {"DELETE": "source_tokens_revoke"}
    serializer_class = serializers.TokenSerializer

    @extend_schema(
        responses={204: None},
        description="Revoke the token, from the next request on. It stays in the list as revoked.",
    )
    def delete(self, request: Request, club: str, source_id: UUID, token_id: UUID) -> Response:
        access.revoke_token(
            club=self.caller.club, source_id=source_id, token_id=token_id, caller=self.caller
        )
        return Response(status=204)


class MemberTokenList(ClubList):
    """Tokens of a member, whoever made them."""

    rights = {"GET": permissions.WRITE_CLUB, "POST": permissions.WRITE_CLUB}
    problems = {"POST": {"409": "The membership has ended."}}
    operation_names = {"GET": "member_tokens_list", "POST": "member_tokens_create"}
    serializer_class = serializers.TokenSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_tokens_of_member(selectors.get_member(self.kwargs["member_id"]))

    @extend_schema(responses=serializers.TokenSerializer(many=True))
    def get(self, request: Request, club: str, member_id: UUID) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewTokenSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.TokenWithSecretSerializer},
        description=(
            "For a member who has none yet, or lost it: hand over the secret, and let them make "
            "their own with it. It does what their role may, within the scopes of the asking token."
        ),
        examples=[
            OpenApiExample(
                "A coach's first token",
                value={
                    "name": "To begin with",
                    "scopes": ["club:read", "athletes:read", "plans:read", "analytics:read"],
                },
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str, member_id: UUID) -> Response:
        body = serializers.NewTokenSerializer(data=request.data)
        body.is_valid(raise_exception=True)

        def make() -> Response:
            new = access.add_member_token(
                club=self.caller.club,
                member_id=member_id,
                caller=self.caller,
                **body.validated_data,
            )
            return _with_secret(new)

        return self.once(make, check=None, secret_fields={"secret"})


class MemberTokenDetail(ClubView):
    """One token of a member."""

    rights = {"DELETE": permissions.WRITE_CLUB}
    operation_names = {"DELETE": "member_tokens_revoke"}
    serializer_class = serializers.TokenSerializer

    @extend_schema(
        responses={204: None},
        description="Revoke the token, from the next request on. It stays in the list as revoked.",
    )
    def delete(
        self, request: Request, club: str, member_id: UUID, member_token_id: UUID
    ) -> Response:
        access.revoke_token(
            club=self.caller.club,
            membership_id=member_id,
            token_id=member_token_id,
            caller=self.caller,
        )
        return Response(status=204)


class OwnTokenList(ClubList):
    """The caller's own tokens: the role's rights, cut down by scopes."""

    rights = {"GET": permissions.OWN_TOKENS, "POST": permissions.OWN_TOKENS}
    operation_names = {"GET": "own_tokens_list", "POST": "own_tokens_create"}
    serializer_class = serializers.TokenSerializer

    def rows(self) -> QuerySet[Any]:
        return selectors.list_own_tokens(self.caller)

    @extend_schema(responses=serializers.TokenSerializer(many=True))
    def get(self, request: Request, club: str) -> Response:
        return self.listed()

    @extend_schema(
        request=serializers.NewTokenSerializer,
        parameters=[IDEMPOTENCY_KEY],
        responses={201: serializers.TokenWithSecretSerializer},
        examples=[
            OpenApiExample(
                "A token for a notebook",
                value={"name": "Notebook", "scopes": ["analytics:read", "athletes:read"]},
                request_only=True,
            )
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.NewTokenSerializer(data=request.data)
        body.is_valid(raise_exception=True)

        def make() -> Response:
            return _with_secret(access.add_own_token(caller=self.caller, **body.validated_data))

        return self.once(make, check=None, secret_fields={"secret"})


class OwnTokenDetail(ClubView):
    """One of the caller's own tokens."""

    rights = {"DELETE": permissions.OWN_TOKENS}
    operation_names = {"DELETE": "own_tokens_revoke"}
    serializer_class = serializers.TokenSerializer

    @extend_schema(
        responses={204: None},
        description="Revoke the token, from the next request on, be it the one that asks.",
    )
    def delete(self, request: Request, club: str, own_token_id: UUID) -> Response:
        access.revoke_token(
            club=self.caller.club,
            membership_id=self.caller.membership_id,
            token_id=own_token_id,
            caller=self.caller,
        )
        return Response(status=204)


def _with_secret(new: access.NewToken) -> Response:
    answer = {**serializers.TokenSerializer(new.token).data, "secret": new.secret}
    response = Response(answer, status=201)
    response["Cache-Control"] = "no-store"
    return response
