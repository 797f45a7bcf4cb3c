"""Sentences in other languages: `python -m config.translating` brings the catalogues up to date.

A catalogue is a `.po` file that people edit (`locale/de/LC_MESSAGES/django.po`). This program finds
the sentences in the code, puts new ones in without a translation and takes those out that nobody
says any more, writes beside it the `.mo` file that Django reads, and says what lacks a translation.
It needs no program beside Python, and both files are checked in: a service starts without it.

The format is that of GNU gettext: "The Format of PO Files" and "The Format of GNU MO Files" in its
manual. Of it this reads and writes what the catalogues hold: messages, plurals, and where they are
from.
"""

import ast
import re
import struct
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from django.conf import settings

CHECKOUT = Path(__file__).parent.parent
LOCALES = CHECKOUT / "locale"
# What a reader is told; the admin's pages and refusals are in English.
SAID_IN = ("analytics",)

# Names under which the code calls gettext.
_ONE = frozenset({"_", "gettext"})
_MANY = frozenset({"ngettext"})

_HEADER = """\
Content-Type: text/plain; charset=UTF-8
Content-Transfer-Encoding: 8bit
Language: {language}
Plural-Forms: {plurals}
"""
# By language: the header's rule, and how many forms it has.
PLURALS = {"de": ("nplurals=2; plural=(n != 1);", 2)}

_MO_MAGIC = 0x950412DE
_WIDTH = 100


@dataclass(frozen=True, slots=True)
class Message:
    """A sentence, and where the code says it.

    Attributes
    ----------
    plural
        How it is said of several; None for a sentence without number.
    forms
        Its translation, one for each form of the number; () where there is none yet.
    """

    id: str
    plural: str | None
    places: tuple[str, ...] = ()
    forms: tuple[str, ...] = ()

    @property
    def is_translated(self) -> bool:
        return bool(self.forms) and all(self.forms)


def find_messages(folders: Iterable[Path]) -> dict[str, Message]:
    """Return the sentences that the code marks for translation, in the order of their places.

    Raises
    ------
    ValueError
        A marked sentence is no plain string, or stands with two different plurals.
    """
    found: dict[str, Message] = {}
    for folder in folders:
        for path in sorted(folder.rglob("*.py")):
            place = path.relative_to(folder.parent).as_posix()
            for message in _messages_in(path.read_text(encoding="utf-8"), place):
                before = found.get(message.id)
                if before is None:
                    found[message.id] = message
                    continue
                if message.plural and before.plural and message.plural != before.plural:
                    raise ValueError(f"two plurals of {message.id!r}: {place}")
                places = tuple(dict.fromkeys((*before.places, place)))
                found[message.id] = replace(
                    before, plural=before.plural or message.plural, places=places
                )
    return found


def _messages_in(source: str, place: str) -> Iterator[Message]:
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else None
        name = node.func.id if isinstance(node.func, ast.Name) else name
        if name in _ONE | _MANY:
            texts = [_text(each, place) for each in node.args[: 2 if name in _MANY else 1]]
            yield Message(texts[0], texts[1] if name in _MANY else None, (place,))


def _text(node: ast.expr, place: str) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    raise ValueError(f"{place}:{node.lineno}: what is translated is one plain string")


_LINE = re.compile(r'^(?:(?P<key>msgid_plural|msgid|msgstr(?:\[\d+\])?)\s+)?"(?P<text>.*)"$')


def read_po(text: str) -> dict[str, Message]:
    """Return the messages of a catalogue; the header is left out.

    Raises
    ------
    ValueError
        A line that is none of a catalogue.
    """
    messages: dict[str, Message] = {}
    for block in re.split(r"\n\s*\n", text):
        parts: dict[str, str] = {}
        places: list[str] = []
        key = ""
        for line in filter(None, map(str.strip, block.splitlines())):
            if line.startswith("#"):
                places += line.removeprefix("#:").split() if line.startswith("#:") else []
                continue
            found = _LINE.match(line)
            if found is None or not (found["key"] or key):
                raise ValueError(f"no line of a catalogue: {line}")
            key = found["key"] or key
            parts[key] = parts.get(key, "") + _unquoted(found["text"])
        if parts.get("msgid"):
            forms = [value for name, value in parts.items() if name.startswith("msgstr")]
            id_ = parts["msgid"]
            messages[id_] = Message(id_, parts.get("msgid_plural"), tuple(places), tuple(forms))
    return messages


def write_po(messages: Iterable[Message], language: str) -> str:
    """Return a catalogue as people edit it."""
    plurals, n_forms = PLURALS[language]
    header = _HEADER.format(language=language, plurals=plurals)
    blocks = [f'msgid ""\nmsgstr ""\n{_lines_of(header)}']
    for message in messages:
        lines = [f"#: {place}" for place in message.places]
        lines.append(_field("msgid", message.id))
        if message.plural is None:
            lines.append(_field("msgstr", message.forms[0] if message.forms else ""))
        else:
            lines.append(_field("msgid_plural", message.plural))
            forms = message.forms or ("",) * n_forms
            lines += [_field(f"msgstr[{form}]", text) for form, text in enumerate(forms)]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _field(name: str, text: str) -> str:
    if "\n" not in text and len(name) + len(text) + 3 <= _WIDTH:
        return f'{name} "{_quoted(text)}"'
    return f'{name} ""\n{_lines_of(text)}'


def _lines_of(text: str) -> str:
    """Return a text in quoted lines that are broken at blanks and after line ends."""
    lines: list[str] = []
    for paragraph in text.splitlines(keepends=True):
        line = ""
        for word in re.findall(r"\S*\s*", paragraph):
            if line and len(line) + len(word.rstrip()) > _WIDTH - 2:
                lines.append(line)
                line = ""
            line += word
        lines.append(line)
    return "\n".join(f'"{_quoted(line)}"' for line in lines)


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")


def _unquoted(text: str) -> str:
    return re.sub(r"\\(.)", lambda found: {"n": "\n"}.get(found[1], found[1]), text)


def compile_mo(messages: Iterable[Message], language: str) -> bytes:
    """Return the catalogue as Django reads it: what lacks a translation is not in it."""
    header = _HEADER.format(language=language, plurals=PLURALS[language][0])
    pairs = [(b"", header.encode())]
    for message in messages:
        if message.is_translated:
            id_ = message.id if message.plural is None else f"{message.id}\0{message.plural}"
            pairs.append((id_.encode(), "\0".join(message.forms).encode()))
    pairs.sort()
    n = len(pairs)
    ids_at, texts_at = 28, 28 + 8 * n
    offset = texts_at + 8 * n
    tables: list[bytes] = []
    body = b""
    for column in (0, 1):
        for pair in pairs:
            tables.append(struct.pack("<II", len(pair[column]), offset + len(body)))
            body += pair[column] + b"\0"
    # No hash table: readers that want one do without.
    head = struct.pack("<7I", _MO_MAGIC, 0, n, ids_at, texts_at, 0, offset)
    return head + b"".join(tables) + body


def catalogue_of(language: str) -> Path:
    """Return where the catalogue of a language is edited."""
    return LOCALES / language / "LC_MESSAGES" / "django.po"


def up_to_date(language: str) -> list[Message]:
    """Return the sentences of the code, with their translations as far as there are any."""
    path = catalogue_of(language)
    known = read_po(path.read_text(encoding="utf-8")) if path.exists() else {}
    messages = []
    for id_, message in find_messages(CHECKOUT / each for each in SAID_IN).items():
        before = known.get(id_)
        # A sentence that got a plural needs another translation than it had.
        keeps = before is not None and (before.plural is None) == (message.plural is None)
        messages.append(replace(message, forms=before.forms) if before and keeps else message)
    return messages


def main() -> int:
    """Bring every catalogue up to date, and say what lacks a translation."""
    lacking = 0
    for language, _name in settings.LANGUAGES:
        if language == settings.LANGUAGE_CODE:
            continue
        messages, path = up_to_date(language), catalogue_of(language)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(write_po(messages, language), encoding="utf-8")
        path.with_suffix(".mo").write_bytes(compile_mo(messages, language))
        missing = [each for each in messages if not each.is_translated]
        lacking += len(missing)
        print(
            f"{path.relative_to(CHECKOUT)}: {len(messages)} sentences, {len(missing)} to translate"
        )
        for each in missing:
            print(f"  {each.places[0]}: {each.id}")
    return 1 if lacking else 0


if __name__ == "__main__":
    sys.exit(main())
