"""The main job over HTTP: a session is pushed, pushed again, and read by the coach."""

import json
import shlex
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from django.core.management import call_command

from analytics.services import rounds
from fixtures_demo import loading, papers, pictures, push_session, report
from fixtures_demo.cast import JUMPERS
from fixtures_demo.season import PUSHED_JUMPERS
from tests.demo.asked import check_every_answer


def count_forms(wanted: Sequence[papers.Wanted]) -> int:
    return sum(len(each.forms) for each in wanted)


def finish_figures() -> None:
    """Do what the worker does."""
    assert loading.finish_figures(progress=lambda _counted, _done, _total: None) == 0


@pytest.mark.django_db(transaction=True)
class TestMainJob:
    def test_ends_with_the_report(self, live_server, tmp_path: Path, capsys, monkeypatch):
        tokens = tmp_path / "tokens.json"
        call_command("load_demo_club", output=tokens)
        words = ["--tokens", str(tokens), "--base-url", live_server.url]
        monkeypatch.setattr(report, "PATIENCE_S", 0.0)
        capsys.readouterr()

        assert report.main(words) == 1
        assert "push it first" in capsys.readouterr().err

        assert push_session.main(words) == 0
        assert "36 created, 0 known, 0 conflicts, 4 rejected" in capsys.readouterr().out
        assert report.main(words) == 1
        assert "is a worker running?" in capsys.readouterr().err

        finish_figures()
        assert push_session.main(words) == 0
        assert "0 created, 36 known, 0 conflicts, 4 rejected" in capsys.readouterr().out
        assert report.main(words) == 0
        printed = capsys.readouterr().out

        assert "36 attempts stored" in printed
        assert "Jonas Feldrum, TJ-16: level, since 2026-10-03, new with this session" in printed
        assert "Refused rows: 4" in printed
        access = json.loads(tokens.read_text())
        told = printed[printed.index("What to see to first") : printed.index("Refused rows")]
        for jumper in JUMPERS:
            if jumper.trouble and jumper.code in PUSHED_JUMPERS:
                trouble = jumper.trouble.replace("_", " ")
                assert f"{jumper.family_name}, {jumper.approach_code}: {trouble} (" in told
        assert "Move the start mark by 15 cm toward the pit, to 28.69 m" in " ".join(told.split())
        assert "Klara Hollreit, LJ-18: ready for more steps (" in told
        for line in told.splitlines():
            assert len(line) <= report.NARROW or line.startswith("curl ")
        check_every_answer(report.Club(live_server.url, access))
        assert access["admin_password"] in printed
        assert access["coach_password"] in printed
        curls = [line for line in printed.splitlines() if line.startswith("curl ")]
        assert len(curls) == 4
        for line in curls:
            done = subprocess.run(
                [*shlex.split(line), "--fail"], capture_output=True, check=True, timeout=30
            )
            assert json.loads(done.stdout)

        folder = tmp_path / "papers"
        works = papers.ask_about_squads(papers.Club(live_server.url, access), papers.SQUADS)
        assert rounds.do_due_work() == len(works)
        assert papers.main([*words, "--folder", str(folder)]) == 0
        assert f"are in {folder}" in capsys.readouterr().out
        assert len(list(folder.iterdir())) == (
            len(papers.ATHLETES) * count_forms(papers.WANTED)
            + count_forms(papers.LENGTHS)
            + len(papers.SQUADS) * count_forms(papers.OF_SQUADS)
        )
        begins = {".svg": b"<svg ", ".png": b"\x89PNG", ".pdf": b"%PDF-", ".html": b"<!"}
        for each in folder.iterdir():
            assert each.read_bytes().lower().startswith(begins[each.suffix].lower()), each.name
        card = (folder / "A-02-TJ-16-card.html").read_text(encoding="utf-8")
        assert "Move the start mark by 15 cm toward the pit, to 28.69 m" in card

        shown = tmp_path / "pictures"
        assert pictures.main([*words, "--folder", str(shown)]) == 0
        capsys.readouterr()
        sizes = {each.stem: each.stat().st_size for each in shown.iterdir()}
        assert sizes.keys() == {each.name for each in pictures.SHOWN} | set(pictures.SQUADS_SHOWN)
        assert max(sizes.values()) < 150_000  # a page of the docs is read on a phone, too

        rows = push_session.SESSION_FILE.read_text().splitlines()
        never_sent = json.loads(rows[0]) | {"external_id": "never-sent"}
        sent = tmp_path / "sent.jsonl"
        sent.write_text("\n".join([*rows, json.dumps(never_sent)]))
        assert report.main([*words, "--session-file", str(sent)]) == 1
        assert "1 rows are lost, among them never-sent" in capsys.readouterr().err
