"""One attempt as a source sends it, for tests that need no club."""

import json

GOOD = {
    "external_id": "run-1",
    "athlete": "ext:A-17",
    "approach": "LJ-16",
    "session": "2026-05-02-am",
    "started_at": "2026-05-02T09:14:07.250+02:00",
    "finish": "jump",
}
GOOD_LINE = json.dumps(GOOD).encode()
