"""Pure arithmetic over NumPy arrays: no Django, no clock, no hidden random state."""
