"""PostgreSQL as Django speaks it, with one round trip less a request."""
