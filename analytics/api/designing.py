"""Run-ups that are laid out: designed for an athlete, and the markers of their last steps."""

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse
from django.utils import translation
from django.utils.cache import patch_vary_headers
from drf_spectacular.utils import OpenApiExample, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from analytics import selectors
from analytics.answers import design, last_steps_layout
from analytics.answers.design import Design, Wish
from analytics.answers.natural import Given, GivenSprint
from analytics.answers.remembered import memory
from analytics.api import design_serializers as serializers
from analytics.api.advice_serializers import IF_MATCH_TO_PUBLISH
from analytics.api.asked import EVERY, LANGUAGE, MOST_LAST, AskedView
from analytics.api.figures import asked_series
from analytics.core.run_up_design import MarkChoice
from analytics.core.run_up_pace import USUAL_RHYTHM, LastThree, StartStyle
from analytics.services import designing
from analytics.services.figures import as_json
from analytics.services.heads import head_of
from analytics.services.method import METHOD
from approaches import selectors as approach_selectors
from approaches.models import Plan
from athletes import selectors as athlete_selectors
from athletes.services import sprints
from clubs.api import permissions
from clubs.api.base import CHANGE_PROBLEMS, ClubView
from clubs.errors import MissingScopeError
from common.api.preconditions import etag_of, expected_version
from common.api.schema import IDEMPOTENCY_KEY
from common.club_scope import club_scope

_EXAMPLE_ID = "019a0000-0000-7000-8000-000000000017"
_SPRINT = {
    "start": "standing",
    "splits": [
        {"at_m": 5, "time_s": 1.32},
        {"at_m": 10, "time_s": 2.01},
        {"at_m": 20, "time_s": 3.21},
        {"at_m": 30, "time_s": 4.31},
    ],
}


class DesignView(ClubView):
    """Lay a run-up out: start mark, check marks, phases, every footfall, and how sure that is.

    From the athlete's stored sprint tests and measurements or from a sprint that is given; with
    `approach` from its attempts as well. Nothing is stored unless `publish` makes the next revision
    of the approach's plan from it; `If-Match` then names the latest revision, as for any new plan.
    """

    rights = {"POST": permissions.DESIGN_RUN_UPS}
    operation_names = {"POST": "run_up_design"}
    problems = {
        "POST": {
            **CHANGE_PROBLEMS,
            "409": "A revision that was planned ahead is not valid yet.",
            "422": "The key was used for another request.",
        }
    }
    serializer_class = serializers.DesignAnswerSerializer

    @extend_schema(
        request=serializers.DesignWishSerializer,
        parameters=[IF_MATCH_TO_PUBLISH, IDEMPOTENCY_KEY, LANGUAGE],
        responses={
            200: serializers.DesignAnswerSerializer,
            201: serializers.DesignAnswerSerializer,
        },
        examples=[
            OpenApiExample(
                "For an athlete, on a runway of 38 m",
                value={"athlete": _EXAMPLE_ID, "sprint": _SPRINT, "steps": 16, "runway_m": 38},
                request_only=True,
            ),
            OpenApiExample(
                "Published as the plan of a run-up",
                value={
                    "approach": _EXAMPLE_ID,
                    "sprint": _SPRINT,
                    "runway_m": 40,
                    "publish": True,
                    "reason": "First marks outside.",
                },
                request_only=True,
            ),
        ],
    )
    def post(self, request: Request, club: str) -> Response:
        body = serializers.DesignWishSerializer(data=request.data)
        body.is_valid(raise_exception=True)
        wanted = dict(body.validated_data)
        if wanted["sprint"] is not None:
            sprints.check_splits(wanted["sprint"]["splits"], at="/sprint/splits")
        needed = permissions.WRITE_PLANS.scope
        if wanted["publish"] and needed not in self.caller.scopes:
            raise MissingScopeError(f"To publish needs a token with the scope {needed}.")
        language = translation.get_language_from_request(request._request)

        def answer() -> Response:
            with translation.override(language):
                if wanted["publish"]:
                    response = self._published(request, wanted)
                else:
                    response = Response(self._designed(wanted))
            patch_vary_headers(response, ["Accept-Language"])
            return response

        return self.once(answer, check=lambda: self._check_seen(wanted))

    def _check_seen(self, wanted: dict[str, Any]) -> None:
        """Refuse a caller to whom the athlete or the run-up of the wish is a stranger's."""
        if wanted["approach"] is not None:
            approach_selectors.get_approach_for(self.caller, wanted["approach"], today=self.today)
        elif wanted["athlete"] is not None:
            athlete_selectors.get_athlete_for(self.caller, wanted["athlete"], today=self.today)

    def _designed(self, wanted: dict[str, Any]) -> dict[str, Any]:
        own = None
        with club_scope(self.caller.club, read_only=True):
            if wanted["approach"] is not None:
                own = selectors.read_own_run_up_for(
                    self.caller, wanted["approach"], last=designing.LAST, today=self.today
                )
                jumper = own.jumper
            elif wanted["athlete"] is not None:
                jumper = selectors.read_jumper_for(self.caller, wanted["athlete"], today=self.today)
            else:
                jumper = None
        found = design.work_out(_wish_of(wanted), jumper, own)
        return _told(found, wanted, athlete=None if jumper is None else jumper.athlete_id)

    def _published(self, request: Request, wanted: dict[str, Any]) -> Response:
        found, plan = designing.publish_design(
            club=self.caller.club,
            approach_id=wanted["approach"],
            wish=_wish_of(wanted),
            reason=wanted["reason"],
            today=self.today,
            caller=self.caller,
            expected=expected_version(request),
        )
        response = Response(
            _told(found, wanted, athlete=plan.approach.athlete_id, plan=plan), status=201
        )
        response["ETag"] = etag_of(plan.version)
        response["Location"] = reverse(
            "plan",
            kwargs={
                "club": self.caller.club.slug,
                "approach_id": plan.approach_id,
                "plan_id": plan.id,
            },
        )
        return response


def _wish_of(wanted: dict[str, Any]) -> Wish:
    sprint, rhythm = wanted["sprint"], wanted["rhythm"]
    splits = [] if sprint is None else sprint["splits"]
    style = wanted["start_style"]
    return Wish(
        given=Given(
            sprint=None
            if sprint is None
            else GivenSprint(
                start=sprint["start"],
                at_m=tuple(each["at_m"] for each in splits),
                time_s=tuple(each["time_s"] for each in splits),
            ),
            step_frequency_hz=wanted["step_frequency_hz"],
            age_years=wanted["age_years"],
            height_m=wanted["height_m"],
        ),
        steps=wanted["steps"],
        start_style=StartStyle.STANDING if style is None else StartStyle(style),
        aim_m=wanted["aim_m"],
        rhythm=USUAL_RHYTHM if rhythm is None else LastThree(**rhythm),
        start_effort=wanted["start_effort"],
        speed_share=wanted["speed_share"],
        choice=MarkChoice(
            early_run_m=wanted["early_run_m"], coach_footfall=wanted["coach_footfall"]
        ),
        runway_m=wanted["runway_m"],
        take_off_foot=wanted["take_off_foot"],
        shoe_length_m=wanted["shoe_length_m"],
    )


def _told(
    found: Design, wanted: dict[str, Any], *, athlete: UUID | None, plan: Plan | None = None
) -> dict[str, Any]:
    answer: dict[str, Any] = as_json(found) | as_json(design.tell(found))
    if found.plan is not None:
        answer["plan"] = found.plan | {"valid_from": None, "reason": design.note(found)}
    return answer | {
        "athlete": athlete,
        "approach": wanted["approach"],
        "published_plan": None if plan is None else plan.id,
        "published_revision": None if plan is None else plan.revision,
        "method": METHOD,
    }


class LastStepsLayoutView(AskedView):
    """Ground markers for the last three footfalls, at short, medium and full length.

    By the plan; without planned footfalls by the athlete's own, or by the sprint alone. Beside each
    marker stands where the foot really lands.
    """

    parameters = {"GET": frozenset({"finish", "last"})}
    operation_names = {"GET": "last_steps_layout_read"}
    serializer_class = serializers.LastStepsLayoutSerializer

    @extend_schema(parameters=EVERY, responses=serializers.LastStepsLayoutSerializer)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        own = selectors.read_own_run_up_for(
            self.caller,
            approach_id,
            last=self.whole_number("last", least=1, most=MOST_LAST, default=designing.LAST),
            today=self.today,
            finish_class=asked_series(self).finish_class,
            with_shorter=True,
        )
        shorter = tuple((steps, each.key) for steps, each in own.shorter.items())
        found = memory.recall(
            (type(self).__name__, own.run_ups.key, own.jumper, shorter),
            lambda: last_steps_layout.work_out(own.run_ups, own=own),
        )
        return self.worded(
            lambda: head_of(own.run_ups) | as_json(found) | as_json(last_steps_layout.tell(found))
        )
