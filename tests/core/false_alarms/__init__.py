"""How often an athlete who has not changed is told so, and how soon one who has.

`python -m tests.core.false_alarms` measures and writes `docs/metrics/false_alarms.md`.
"""
