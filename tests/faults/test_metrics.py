"""What each process counts, told by whichever of them is asked."""

import urllib.request

from tests.faults.case import Case


def read_counts(case: Case) -> dict[str, float]:
    with urllib.request.urlopen(f"{case.stack.base_url}/metrics", timeout=10) as answer:  # noqa: S310  # our own server
        lines = answer.read().decode().splitlines()
    pairs = (line.rsplit(" ", 1) for line in lines if line and not line.startswith("#"))
    return {name: float(value) for name, value in pairs}


class TestMetrics:
    def test_tell_what_web_and_worker_did(self, case: Case):
        created, refreshed = (
            'penult_rows_received_total{outcome="created"}',
            "penult_refresh_seconds_count",
        )
        before = read_counts(case)
        case.client.push_until_answered(case.readings.take(4))
        case.wait_for_figures()

        after = read_counts(case)

        assert after[created] - before.get(created, 0) == 4
        assert after[refreshed] > before.get(refreshed, 0)
