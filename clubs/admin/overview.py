"""Pages that show all about one row, each part of it given by the app that knows it.

What a club wants to see of an athlete is known by several apps: plans and figures stand above
athletes, which must not import them. So the page belongs to the app of its row and asks a list,
to which the apps above add their sections while Django loads their admin.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar, cast
from urllib.parse import urlencode

from django.contrib.admin.utils import unquote
from django.contrib.admin.views.main import ChangeList
from django.db.models import Model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, path, reverse

from clubs.admin.rows import ClubModelAdmin, caller_of
from clubs.selectors import Caller


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a page: what stands in it, and where among the others.

    Attributes
    ----------
    place
        Sections stand in the order of their places.
    title, template
        Of the part; the template gets what `gather` returns as `content`.
    gather
        Asks selectors about a row, for the admin who looks at it.
    wide
        Whether it takes the whole width of a large screen.
    """

    place: int
    title: str
    template: str
    gather: Callable[[Any, Caller], dict[str, Any]]
    wide: bool = False


_sections: dict[type[Model], list[Section]] = {}


def add_section(model: type[Model], section: Section) -> None:
    """Have the overview of each row of `model` show `section`."""
    of_model = _sections.setdefault(model, [])
    of_model.append(section)
    of_model.sort(key=lambda each: each.place)


class OverviewList(ChangeList):
    """A list that leads to overviews, not to forms."""

    def url_for_result(self, result: Model) -> str:
        page = cast(OverviewAdmin, self.model_admin)
        return reverse(page.overview_name, args=[result.pk])


class OverviewAdmin(ClubModelAdmin):
    """A page whose rows have an overview beside the form: looked at often, changed now and then."""

    change_form_template = "admin/club_change_form_with_overview.html"
    # What leads on from the overview: a label, an address by name, and the parameter with the id.
    onward: ClassVar[tuple[tuple[str, str, str], ...]] = ()

    @property
    def overview_name(self) -> str:
        return f"{self.admin_site.name}:{self.opts.app_label}_{self.opts.model_name}_overview"

    def get_urls(self) -> list[URLPattern]:
        name = self.overview_name.partition(":")[2]
        view = self.admin_site.admin_view(self.overview_view)
        return [path("<path:object_id>/overview/", view, name=name), *super().get_urls()]

    def get_changelist(self, request: HttpRequest, **kwargs: Any) -> type[ChangeList]:
        # A window that asks for a row expects the list's own links.
        return ChangeList if "_popup" in request.GET else OverviewList

    def overview_view(self, request: HttpRequest, object_id: str) -> HttpResponse:
        """Show all sections of a row."""
        row = self.get_object(request, unquote(object_id))
        if row is None:
            return self.change_view(request, object_id)  # says it is missing
        caller = caller_of(request)
        sections = [
            {"section": section, "content": section.gather(row, caller)}
            for section in _sections.get(self.model, ())
        ]
        context = {
            **self.admin_site.each_context(request),
            "title": str(row),
            "opts": self.opts,
            "original": row,
            "sections": sections,
            "onward": [
                {"label": label, "address": f"{reverse(name)}?{urlencode({key: row.pk})}"}
                for label, name, key in self.onward
            ],
        }
        return TemplateResponse(request, "admin/club_overview.html", context)

    def render_change_form(
        self, request: HttpRequest, context: dict[str, Any], *args: Any, **kwargs: Any
    ) -> HttpResponse:
        """Let the form lead to the overview."""
        context["overview_name"] = self.overview_name
        return super().render_change_form(request, context, *args, **kwargs)

    def response_post_save_change(self, request: HttpRequest, obj: Any) -> HttpResponseRedirect:
        """Go back to the overview, where the person came from."""
        return redirect(self.overview_name, obj.pk)
