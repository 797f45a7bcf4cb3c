"""Settings from the environment say plainly what is wrong."""

import pytest
from django.core.exceptions import ImproperlyConfigured

from config.settings import environment


class TestCount:
    @pytest.mark.parametrize(("given", "read"), [("1", 1), ("12", 12), ("1000", 1000)])
    def test_is_a_whole_number(self, monkeypatch: pytest.MonkeyPatch, given: str, read: int):
        monkeypatch.setenv("WORK_AT_ONCE", given)

        assert environment.count("WORK_AT_ONCE", default=3) == read

    @pytest.mark.parametrize(
        "given", ["", "0", "-1", "1.5", "one", "1001", "10000", "9" * 5000, "²"]
    )
    def test_anything_else_is_refused_by_name(self, monkeypatch: pytest.MonkeyPatch, given: str):
        monkeypatch.setenv("WORK_AT_ONCE", given)

        with pytest.raises(ImproperlyConfigured, match="WORK_AT_ONCE is a whole number"):
            environment.count("WORK_AT_ONCE", default=3)

    def test_has_a_default(self, monkeypatch: pytest.MonkeyPatch):
        monkeypatch.delenv("WORK_AT_ONCE", raising=False)

        assert environment.count("WORK_AT_ONCE", default=3) == 3
