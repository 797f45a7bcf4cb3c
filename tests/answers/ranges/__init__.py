"""How often the ranges of "what if" hold what then comes true.

`python -m tests.answers.ranges` measures every row and writes `docs/metrics/what_if_ranges.md`.
"""
