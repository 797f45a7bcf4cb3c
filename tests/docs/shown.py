"""Which requests the executed examples of the pages send, read from their shell lines."""

import re
import shlex
from collections.abc import Iterator
from typing import NamedTuple

from tests.docs import pages

_CURL = re.compile(r"\bcurl (?=-)")
_BASES = re.compile(r"^(?:\$API|http://127\.0\.0\.1:8000/api/v1/clubs/\$CLUB)(?=/|$)")
_VARIABLE = re.compile(r"\$\([^)]*\)|\$\{[^}]*\}|\$\w+")
_LOOP = re.compile(r"^for (\w+) in ([^;\n]+); do\n(.*?)^done", re.M | re.S)
_BODY_FLAGS = {"-d", "--data", "--data-binary"}
PLACE = "{}"


class Request(NamedTuple):
    method: str
    path: str  # within the club, variables as PLACE


def list_requests(commands: str) -> list[Request]:
    """Return what the curl lines of a shell block ask of a club."""
    commands = _LOOP.sub(_unroll, commands)
    requests = []
    for found in _CURL.finditer(commands):
        words = shlex.split(_command_at(commands, found.start()))
        addresses = [word for word in words if _BASES.match(word)]
        if addresses:
            requests.append(Request(_method_of(words), _path_of(addresses[0])))
    return requests


def list_all_requests() -> Iterator[Request]:
    for page in pages.list_pages():
        for example in pages.list_examples(page):
            yield from list_requests(example.commands)


def is_of(request: Request, method: str, path: str) -> bool:
    """Answer whether a request is of an operation, whose path has names in braces."""
    asked, known = request.path.split("/"), path.split("/")
    return (
        request.method == method
        and len(asked) == len(known)
        and all(
            part == name or (name.startswith("{") and part != "")
            for part, name in zip(asked, known, strict=True)
        )
    )


def _unroll(loop: re.Match[str]) -> str:
    """Return the lines of a loop once for each of its words."""
    name, words, lines = loop.groups()
    return "".join(lines.replace(f"${name}", word) for word in words.split())


def _command_at(commands: str, begin: int) -> str:
    """Return one command of a shell text: up to what ends it outside of quotes."""
    quote, escaped = "", False
    for place in range(begin, len(commands)):
        letter = commands[place]
        if escaped:
            escaped = False
        elif letter == "\\" and quote != "'":
            escaped = True
        elif quote:
            if letter == quote:
                quote = ""
        elif letter in "\"'":
            quote = letter
        elif letter in "|;)\n":
            return commands[begin:place].replace("\\\n", " ")
    return commands[begin:].replace("\\\n", " ")


def _method_of(words: list[str]) -> str:
    if "-X" in words:
        return words[words.index("-X") + 1]
    return "POST" if _BODY_FLAGS & set(words) else "GET"


def _path_of(address: str) -> str:
    path = _BASES.sub("", address).partition("?")[0].lstrip("/")
    return _VARIABLE.sub(PLACE, path)
