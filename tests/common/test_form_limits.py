"""Forms are bounded by the service itself, whatever stands in front of it."""

import http.client
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from wsgiref.simple_server import WSGIRequestHandler, make_server

import pytest
from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.test import Client
from django.urls import reverse

URLENCODED = "application/x-www-form-urlencoded"
MULTIPART = "multipart/form-data; boundary=x"
DOORS = ["pages:log_in", "admin:login"]
MOST = settings.DATA_UPLOAD_MAX_MEMORY_SIZE


class Silent(WSGIRequestHandler):
    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture(scope="module")
def server() -> Iterator[int]:
    """Return the port of a server that speaks real HTTP."""
    made = make_server("127.0.0.1", 0, get_wsgi_application(), handler_class=Silent)
    serving = threading.Thread(target=made.serve_forever)
    serving.start()
    yield made.server_port
    made.shutdown()
    serving.join()
    made.server_close()


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("kind", [URLENCODED, MULTIPART])
def test_a_form_that_is_too_large_is_refused_before_it_is_read(server: int, door: str, kind: str):
    connection = http.client.HTTPConnection("127.0.0.1", server, timeout=20)
    connection.putrequest("POST", reverse(door))
    connection.putheader("Content-Type", kind)
    connection.putheader("Content-Length", str(MOST + 1))
    # Nothing of the body is sent: who waited for it would never answer.
    connection.endheaders()

    answer = connection.getresponse()

    assert answer.status == 413
    assert b'"body_too_large"' in answer.read()
    connection.close()


def test_a_file_is_written_nowhere(db: None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(settings, "FILE_UPLOAD_MAX_MEMORY_SIZE", 10)
    head = b'--x\r\nContent-Disposition: form-data; name="username"; filename="a"\r\n\r\n'
    body = head + b"a" * (MOST // 2) + b"\r\n--x--\r\n"

    answer = Client().post(reverse("pages:log_in"), body, content_type=MULTIPART)

    assert answer.status_code == 200
    assert answer.context["form"].errors["username"]
    assert answer.wsgi_request.FILES == {}
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        (URLENCODED, b"&".join([b"a=1"] * (settings.DATA_UPLOAD_MAX_NUMBER_FIELDS + 1))),
        (
            MULTIPART,
            b'--x\r\nContent-Disposition: form-data; name="a"\r\n\r\n1\r\n'
            * (settings.DATA_UPLOAD_MAX_NUMBER_FIELDS + 1)
            + b"--x--\r\n",
        ),
        (
            MULTIPART,
            b'--x\r\nContent-Disposition: form-data; name="a"; filename="a"\r\n\r\n1\r\n' * 3
            + b"--x--\r\n",
        ),
    ],
    ids=["fields", "parts", "files"],
)
@pytest.mark.parametrize("door", DOORS)
def test_too_many_fields_or_files_are_refused(db: None, door: str, kind: str, body: bytes):
    answer = Client().post(reverse(door), body, content_type=kind)

    assert (answer.status_code, answer.json()["code"]) == (400, "bad_request")


def test_a_form_as_large_as_may_be_is_read(db: None):
    body = b"username=" + b"a" * (MOST - len(b"username="))

    answer = Client().post(reverse("pages:log_in"), body, content_type=URLENCODED)

    assert answer.status_code == 200


def test_a_push_is_bounded_by_its_own_door(db: None):
    answer = Client().post(
        "/api/v1/clubs/no-such-club/attempts/batch/",
        b" " * (MOST + 1),
        content_type="application/json",
    )

    assert answer.status_code == 401
