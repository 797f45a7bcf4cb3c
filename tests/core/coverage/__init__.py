"""How often intervals cover the truth on simulated attempts: one file of studies for each metric.

`python -m tests.core.coverage` measures all of them and writes `docs/metrics/coverage.md`.
"""
