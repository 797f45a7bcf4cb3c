"""Every link within the repository leads somewhere."""

import re
from pathlib import Path

import pytest

from tests.docs import pages

_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)(?: \"[^\"]*\")?\)")
_NAMED_FILE = re.compile(r"`((?:\.ci|[a-z_]+)/[\w./*-]+)`")


@pytest.mark.parametrize("page", pages.list_pages(), ids=pages.name_of)
class TestLinks:
    def test_lead_to_a_file_and_a_heading(self, page: Path):
        dead = []
        for link in _LINK.findall(pages.prose_of(page)):
            if re.match(r"[a-z]+:", link):
                continue  # somebody else's page
            name, _, anchor = link.partition("#")
            target = (page.parent / name).resolve() if name else page
            if not target.exists() or (anchor and anchor not in pages.anchors_of(target)):
                dead.append(link)

        assert dead == []

    def test_named_files_exist(self, page: Path):
        top_level = {path.name for path in pages.CHECKOUT.iterdir() if path.is_dir()}
        missing = [
            name
            for name in _NAMED_FILE.findall(pages.prose_of(page))
            if name.partition("/")[0] in top_level and not any(pages.CHECKOUT.glob(name))
        ]

        assert missing == []


class TestIndex:
    def test_leads_to_every_page_of_the_docs(self):
        """From the index each page can be reached, if need be over the index of its folder."""
        start = pages.CHECKOUT / "docs" / "index.md"
        reached, to_read = {start}, [start]
        while to_read:
            page = to_read.pop()
            for link in _LINK.findall(pages.prose_of(page)):
                target = (page.parent / link.partition("#")[0]).resolve()
                if target.suffix == ".md" and target.exists() and target not in reached:
                    reached.add(target)
                    to_read.append(target)

        docs = set((pages.CHECKOUT / "docs").rglob("*.md"))
        assert sorted(pages.name_of(page) for page in docs - reached) == []
