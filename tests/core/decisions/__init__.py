"""How often diagnosis and advice are right on simulated athletes whose trouble is known.

`python -m tests.core.decisions` measures and writes `docs/metrics/decisions.md`.
"""
