"""Benchmarks: each times what Penult does beside a peer and a limit, in one run on one machine."""
