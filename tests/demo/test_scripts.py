"""What a club would write itself: the script that pushes, and the coach's report."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from fixtures_demo import push_session, report, session_file

OUTCOME = {
    "received": 2,
    "created": 1,
    "known": 0,
    "conflicts": 0,
    "rejected": 1,
    "complete": False,
    "rows": [
        {
            "index": 1,
            "line": 2,
            "external_id": "run-2",
            "code": "unknown_athlete",
            "pointer": "/athlete",
            "detail": "No athlete ext:A-99.",
            "send_again_helps": True,
        }
    ],
    "rows_omitted": 0,
}


@contextmanager
def server_that_answers(*answers: tuple[int, dict[str, Any]]) -> Iterator[tuple[str, list[str]]]:
    """Yield an address that gives the answers in turn, and the bodies that it received."""
    left, bodies = list(answers), []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            bodies.append(self.rfile.read(int(self.headers["Content-Length"])).decode())
            status, content = left.pop(0)
            body = json.dumps(content).encode()
            self.send_response(status)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, format: str, *args: Any) -> None:  # noqa: A002  # named by the base class
            """Keep quiet."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/", bodies
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(push_session, "FIRST_WAIT_S", 0.001)
    monkeypatch.setattr(push_session, "LONGEST_WAIT_S", 0.001)


class TestSessionFile:
    def test_is_what_the_generator_writes(self):
        lines = session_file.SESSION_FILE.read_text(encoding="utf-8").splitlines()

        assert lines == session_file.session_lines()

    def test_holds_forty_rows_with_an_id_each(self):
        rows = [json.loads(line) for line in session_file.session_lines()]

        assert len({row["external_id"] for row in rows}) == len(rows) == 40


@pytest.mark.usefixtures("impatient")
class TestPush:
    def test_tries_again_with_the_same_rows_while_the_service_is_down(self, capsys):
        with server_that_answers((503, {}), (500, {}), (200, OUTCOME)) as (url, bodies):
            outcome = push_session.push(url, "token", b"{}\n")

        assert outcome == OUTCOME
        assert bodies == ["{}\n"] * 3
        assert "answered 503" in capsys.readouterr().err

    def test_tries_again_when_nobody_listens_and_then_gives_up(self):
        with server_that_answers() as (url, _):
            pass

        with pytest.raises(OSError, match="refused"):
            push_session.push(url, "token", b"{}\n")

    def test_does_not_repeat_what_was_refused(self):
        problem = {"code": "not_authenticated", "detail": "No such token."}
        with (
            server_that_answers((401, problem)) as (url, bodies),
            pytest.raises(push_session.RefusedPushError, match=r"not_authenticated.*No such token"),
        ):
            push_session.push(url, "token", b"{}\n")

        assert len(bodies) == 1


class TestDescribe:
    def test_names_each_refused_row_with_its_reason(self):
        text = "\n".join(push_session.describe(OUTCOME))

        assert "2 rows received: 1 created, 0 known, 0 conflicts, 1 rejected." in text
        assert "line 2, run-2:" in text
        assert "unknown_athlete at /athlete: No athlete ext:A-99." in text

    def test_says_known_when_nothing_is_new(self):
        again = OUTCOME | {"created": 0, "known": 1}

        assert "Nothing new: the 1 good rows are known" in push_session.describe(again)[1]

    @pytest.mark.parametrize("body", [b"<html>", b"[]", b"{}", b"\xff"])
    def test_explains_a_refusal_that_is_no_problem_document(self, body):
        assert push_session.explain(403, body) == "Refused with status 403."


class TestFitWidth:
    @pytest.mark.parametrize(
        ("text", "fitted"),
        [
            ("Mira", "Mira   "),
            ("Valentin", "Valent "),
            ("跳跃者甲", "跳跃者 "),
            ("Zoe\u0308", "Zoe\u0308    "),
        ],
    )
    def test_counts_the_columns_of_a_terminal(self, text, fitted):
        assert report.fit_width(text, 7) == fitted


def figures(**changed: Any) -> dict[str, Any]:
    """Return figures as the service answers them; the numbers are invented."""
    interval = {"low": -0.01, "high": 0.05, "level": 0.95}
    accuracy = {
        "bias_m": 0.02,
        "bias_interval": interval,
        "bias_interval_over_sessions": None,
        "sd_m": 0.08,
        "sd_interval": {"low": 0.06, "high": 0.117, "level": 0.95},
        "share_on_board": 0.75,
        "share_no_jump": 0.15,
        "n_unmeasured_no_jumps": 0,
    }
    return {
        "window": {"n": 20, "aim_m": 0.06},
        "accuracy": accuracy,
        "censored": {
            "mean_m": 0.05,
            "mean_interval": {"low": 0.01, "high": 0.09, "level": 0.95},
            "adjusted_sd_m": 0.10,
            "sd_interval": {"low": 0.07, "high": 0.15, "level": 0.95},
        },
        "change": {
            "sd_ratio": 0.5,
            "sd_ratio_interval": {"low": 0.31, "high": 0.8, "level": 0.95},
            "probability_spread_lower": 0.998,
        },
        **changed,
    }


def line_of(found: dict[str, Any]) -> str:
    line = report.Line(athlete="Mira", approach="LJ-16", approach_id="1", figures=found)
    return " ".join(report.describe_figures([line])[2].split())


class TestDescribeFigures:
    def test_gives_centimetres_with_their_intervals(self):
        assert line_of(figures()) == (
            "Mira LJ-16 20 +2.0 ± 3.0 8.0 (6.0-11.7) 75 % 15 % x0.50 (0.31-0.80), > 99 %"
        )

    def test_counts_unmeasured_no_jumps_in_and_marks_it(self):
        accuracy = figures()["accuracy"] | {"n_unmeasured_no_jumps": 2}

        # 0.05 m behind the line is 1 cm beyond the aim of 0.06 m.
        assert "-1.0 ± 4.0 10.0 (7.0-15.0)*" in line_of(figures(accuracy=accuracy))

    def test_says_when_there_is_not_enough(self):
        missing = {"not_enough_attempts": "not enough attempts (3 of 5)", "n": 3, "needed": 5}

        assert line_of(figures(accuracy=missing)) == "Mira LJ-16 not enough attempts (3 of 5)"
        assert line_of(figures(change=missing)).endswith("not enough attempts")

    def test_stays_within_a_hundred_columns(self):
        line = report.Line("A very long name indeed", "LJ-16", "1", figures())

        assert max(map(len, report.describe_figures([line]))) <= report.WIDTH


class TestMain:
    def test_ends_with_one_and_a_sentence_without_tokens(self, tmp_path: Path, capsys):
        words = ["--tokens", str(tmp_path / "none.json")]

        assert push_session.main(words) == report.main(words) == 1
        assert "No such file" in capsys.readouterr().err
