"""What a coach prints: pages for a browser, and sheets of paper."""

import re
from abc import ABC
from collections.abc import Callable
from uuid import UUID
from zoneinfo import ZoneInfo

from django.http import HttpResponse
from django.utils.http import content_disposition_header
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer
from rest_framework.request import Request

from analytics import selectors
from analytics.answers import last_steps_layout
from analytics.answers.remembered import memory
from analytics.api.asked import DEFAULT_LAST, LANGUAGE, AskedView, in_language_of
from analytics.api.reports import PERIOD, PeriodView
from analytics.cards import (
    approach_card,
    ground_markers,
    pages,
    season_report,
    squad_report,
    typesetting,
)
from analytics.cards.sheet import Sheet
from analytics.cards.typesetting import Paper
from analytics.errors import NoPaperError, WorkNotDoneError
from analytics.models import WorkKind, WorkState
from analytics.selectors import Series
from analytics.services import designing, seasons, squad_seasons
from analytics.services.figures import as_json
from analytics.services.method import METHOD
from approaches.models import FinishClass
from athletes import selectors as athlete_selectors
from clubs import selectors as club_selectors
from common import texts
from common.api.errors import InvalidParameterError
from common.api.renderers import PageRenderer, PaperRenderer, PixelRenderer
from common.page_policy import HEADER

PAGE, PAPER = PageRenderer.media_type, PaperRenderer.media_type
PICTURE = PixelRenderer.media_type
_NOT_IN_FILE_NAMES = re.compile(rf'[{texts.CONTROLS}{texts.HIDDEN}/\\:*?"<>|]+')
_FORMS = {"html": PageRenderer, "pdf": PaperRenderer, "png": PixelRenderer}
# Browsers show a PDF in a page of their own, with a style and an embedded object.
_PAPER_POLICY = (
    "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'"
)

PAPER_PARAMETERS = [
    OpenApiParameter(
        "paper",
        enum=[each.value for each in Paper],
        default=Paper.A4.value,
        description="What is in the printer; a page for a browser is the same for each.",
    ),
    OpenApiParameter(
        "as",
        enum=list(_FORMS),
        description="The form, for links, which cannot say what they accept; else Accept decides.",
    ),
    LANGUAGE,
]
PAPER_RESPONSES = {
    (200, PAGE): OpenApiTypes.STR,
    (200, PAPER): OpenApiTypes.BINARY,
    (200, PICTURE): OpenApiTypes.BINARY,
}


def _file_name(name: str) -> str:
    """Return a name that every system takes as that of one file (RFC 6266, section 4.3).

    Codes are of the club's own making: a slash in one is no folder, and a code from before signs
    that nobody sees were refused does not turn ".pdf" round.
    """
    return _NOT_IN_FILE_NAMES.sub("-", name)


class PaperView(AskedView, ABC):
    """A view that answers with a page, with paper or with a picture of it, as the client accepts.

    All say the same: they are made from the same texts.
    """

    parameters = {"GET": frozenset({"paper", "as"})}
    forms = tuple(_FORMS.values())

    def get_renderers(self) -> list[BaseRenderer]:
        is_schema = getattr(self, "swagger_fake_view", False)
        wanted = None if is_schema else _FORMS.get(self.request.query_params.get("as", ""))
        if wanted is not None and self.request.method != "OPTIONS":
            return [wanted()]
        return super().get_renderers()

    def paper(self) -> Paper:
        given = self.request.query_params.get("paper", Paper.A4.value)
        try:
            return Paper(given)
        except ValueError as error:
            names = ", ".join(each.value for each in Paper)
            raise InvalidParameterError(f"paper is one of {names}.") from error

    def made(self, fill_in: Callable[[], Sheet], *, name: str) -> HttpResponse:
        """Answer with what `fill_in` fills in, in the form and the language of the reader."""
        paper = self.paper()
        if self.request.query_params.get("as", "html") not in _FORMS:
            raise InvalidParameterError(f"as is one of {', '.join(_FORMS)}.")

        def make() -> HttpResponse:
            sheet, form = fill_in(), self.request.accepted_renderer.media_type
            if form == PAGE:
                response = HttpResponse(pages.show(sheet), content_type=f"{PAGE}; charset=utf-8")
                response[HEADER] = pages.page_policy()
                return response
            if form == PICTURE:
                response = HttpResponse(typesetting.picture_sheet(sheet, paper=paper))
            else:
                response = HttpResponse(typesetting.print_sheet(sheet, paper=paper))
                response[HEADER] = _PAPER_POLICY
            response["Content-Type"] = form
            response["Content-Disposition"] = str(
                content_disposition_header(
                    as_attachment=False, filename=f"{_file_name(name)}.{form.partition('/')[2]}"
                )
            )
            return response

        response = in_language_of(self.request, make)
        if self.caller.token_id is None:
            # A browser's log-in: the next person at this phone must not find it in the cache.
            response["Cache-Control"] = "private, no-store"
        return response


class CardView(PaperView):
    """The approach card: what the plan says, the wind table, the aim, what to watch. On one page.

    What it says beside the plan comes from the last attempts, as the answer to each question says
    it.
    """

    operation_names = {"GET": "card_read"}

    @extend_schema(parameters=PAPER_PARAMETERS, responses=PAPER_RESPONSES)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        title = selectors.read_title_for(self.caller, approach_id, today=self.today)
        run_ups = selectors.read_run_ups_for(
            self.caller,
            Series(approach_id, FinishClass.JUMP),
            last=DEFAULT_LAST,
            today=self.today,
        )
        body = selectors.read_body_for(self.caller, approach_id, today=self.today)
        found = memory.recall(
            (type(self).__name__, run_ups.key, body),
            lambda: approach_card.work_out(run_ups, body=body),
        )
        zone = ZoneInfo(self.caller.club.time_zone)
        return self.made(
            lambda: approach_card.fill_in(title, run_ups, found, zone=zone),
            name=f"card-{title.athlete_code}-{title.approach_code}",
        )


class MarkersView(PaperView):
    """Ground markers for the last three footfalls, to scale beside a tape. On one page.

    What `last-steps-layout` answers, at short, medium and full length.
    """

    operation_names = {"GET": "last_steps_layout_paper_read"}

    @extend_schema(parameters=PAPER_PARAMETERS, responses=PAPER_RESPONSES)
    def get(self, request: Request, club: str, approach_id: UUID) -> HttpResponse:
        title = selectors.read_title_for(self.caller, approach_id, today=self.today)
        own = selectors.read_own_run_up_for(
            self.caller, approach_id, last=designing.LAST, today=self.today, with_shorter=True
        )
        shorter = tuple((steps, each.key) for steps, each in own.shorter.items())
        found = memory.recall(
            (type(self).__name__, own.run_ups.key, own.jumper, shorter),
            lambda: last_steps_layout.work_out(own.run_ups, own=own),
        )
        zone = ZoneInfo(self.caller.club.time_zone)
        return self.made(
            lambda: ground_markers.fill_in(title, own.run_ups, found, zone=zone),
            name=f"markers-{title.athlete_code}-{title.approach_code}",
        )


class SeasonPaperView(PaperView, PeriodView):
    """The season report of one athlete as a page or on paper: what `reports/season` answers."""

    parameters = {"GET": PaperView.parameters["GET"] | PeriodView.parameters["GET"]}
    operation_names = {"GET": "season_paper_read"}

    @extend_schema(parameters=[*PERIOD, *PAPER_PARAMETERS], responses=PAPER_RESPONSES)
    def get(self, request: Request, club: str, athlete_id: UUID) -> HttpResponse:
        from_date, to_date = self.period()
        season = selectors.read_season_for(
            self.caller, athlete_id, from_date=from_date, to_date=to_date, today=self.today
        )
        athlete, zone = season.athlete, ZoneInfo(self.caller.club.time_zone)
        return self.made(
            lambda: season_report.fill_in(
                seasons.report_of(season),
                name=f"{athlete.given_name} {athlete.family_name}",
                zone=zone,
            ),
            name=f"season-{athlete.code}-{to_date.year}",
        )


class SquadSeasonPaperView(PaperView):
    """The season report of a squad as a page or on paper: what the finished work answers.

    Whoever may read the work may read it. 409 `work_not_done` until the work is done, and
    `no_paper` for any other kind of question.
    """

    operation_names = {"GET": "squad_season_paper_read"}
    problems = {"GET": {"409": "It is not done, or there is no paper of this kind of question."}}

    @extend_schema(parameters=PAPER_PARAMETERS, responses=PAPER_RESPONSES)
    def get(self, request: Request, club: str, work_id: UUID) -> HttpResponse:
        work = selectors.get_work_for(self.caller, work_id, today=self.today, method=METHOD)
        if work.kind != WorkKind.SQUAD_SEASON:
            raise NoPaperError
        stored = work.answer
        if work.state != WorkState.DONE or stored is None:
            raise WorkNotDoneError
        squad = club_selectors.get_squad(UUID(stored["squad"]))
        names = {
            str(each.id): f"{each.given_name} {each.family_name}"
            for each in athlete_selectors.list_athletes_for(self.caller, today=self.today).filter(
                id__in=work.athlete_ids
            )
        }
        zone = ZoneInfo(self.caller.club.time_zone)
        return self.made(
            lambda: squad_report.fill_in(
                stored | as_json(squad_seasons.tell(stored)),
                name=squad.name,
                names=names,
                zone=zone,
            ),
            name=f"season-squad-{stored['to_date'][:4]}",
        )
