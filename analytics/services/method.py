"""Which formulas made a number."""

# Raise this when a formula changes: stored figures of another method are made anew from the
# attempts, series by series, and docs/operations/refresh.md says what changed.
METHOD = 5
