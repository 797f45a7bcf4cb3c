"""English, as clubs in many countries read it."""
