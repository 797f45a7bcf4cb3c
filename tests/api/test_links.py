"""Lists tell where their other pages are, in the answer and in the Link header (RFC 8288)."""

from typing import Any

from requests.utils import parse_header_links

from tests import factories
from tests.api.conftest import Api, World


def links_of(answer: Any) -> dict[str, str]:
    """Return the links by what they lead to, as an independent reader of the header finds them."""
    parsed = parse_header_links(answer.headers.get("Link", ""))
    return {each["rel"]: each["url"] for each in parsed}


def follow(api: Api, url: str) -> Any:
    answer = api.client.get(url)
    assert answer.status_code == 200, answer.content
    return answer


def names_on(answer: Any) -> list[str]:
    return [each["name"] for each in answer.json()["results"]]


class TestLinks:
    def test_lead_through_a_list_and_back(self, world: World):
        admin = world.as_("admin")
        names = [factories.make_squad(world.club).name for _ in range(5)]
        pages = [admin.get("squads/?page_size=2")]

        while "next" in links_of(pages[-1]):
            pages.append(follow(admin, links_of(pages[-1])["next"]))
        back = [pages[-1]]
        while "prev" in links_of(back[-1]):
            back.append(follow(admin, links_of(back[-1])["prev"]))

        assert [names_on(page) for page in pages] == [names[:2], names[2:4], names[4:]]
        assert [names_on(page) for page in back] == [names[4:], names[2:4], names[:2]]
        assert [set(links_of(page)) for page in pages] == [{"next"}, {"next", "prev"}, {"prev"}]

    def test_say_the_same_as_the_answer(self, world: World):
        admin = world.as_("admin")
        for _ in range(3):
            factories.make_squad(world.club)
        first = admin.get("squads/?page_size=1")

        for page in (first, follow(admin, links_of(first)["next"])):
            links, said = links_of(page), page.json()
            assert (links.get("next"), links.get("prev")) == (said["next"], said["previous"])
            assert all(url.startswith("http://testserver/api/v1/clubs/") for url in links.values())

    def test_are_not_there_where_one_page_is_all(self, world: World):
        factories.make_squad(world.club)

        assert not world.as_("admin").get("squads/").has_header("Link")

    def test_keep_the_filters(self, world: World):
        admin = world.as_("admin")
        for _ in range(3):
            factories.make_attempt(world.source, world.athlete, world.session)
        path = f"attempts/?athlete={world.athlete.id}&finish=jump&page_size=1"

        following = follow(admin, links_of(admin.get(path))["next"])

        assert f"athlete={world.athlete.id}" in links_of(following)["next"]
        assert "finish=jump" in links_of(following)["next"]
        assert len(following.json()["results"]) == 1

    def test_of_a_page_that_is_the_same_are_not_sent_again(self, world: World):
        admin = world.as_("admin")
        for _ in range(2):
            factories.make_squad(world.club)
        first = admin.get("squads/?page_size=1")

        same = admin.get("squads/?page_size=1", If_None_Match=first["ETag"])

        assert (same.status_code, same.has_header("Link")) == (304, False)
