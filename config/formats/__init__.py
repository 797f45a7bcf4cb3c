"""How dates and numbers are written on pages for people."""
