"""What the service counts of itself, for Prometheus."""

from prometheus_client import Counter

rows_received = Counter(
    "penult_rows_received", "Rows that sources pushed, by what became of them.", ["outcome"]
)
