"""What a search on a page of approaches looks at."""

OF_ATHLETE = ("athlete__code", "athlete__given_name", "athlete__family_name")
OF_APPROACHS_ATHLETE = tuple(f"approach__{name}" for name in ("code", *OF_ATHLETE))
