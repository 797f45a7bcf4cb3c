"""Dates that nobody can misread: the month as a word when shown, ISO 8601 when typed.

With the defaults of the language, 3/4/2026 would be taken for a day in March, whoever typed it.
"""

DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
DATETIME_FORMAT = "j M Y, H:i"
YEAR_MONTH_FORMAT = "F Y"
MONTH_DAY_FORMAT = "j F"
# Ours: in pictures a whole month has no room.
DAY_OF_PICTURE_FORMAT = "j M"
DAY_AND_YEAR_OF_PICTURE_FORMAT = "j M Y"
FIRST_DAY_OF_WEEK = 1  # Monday

DATE_INPUT_FORMATS = ["%Y-%m-%d"]
TIME_INPUT_FORMATS = ["%H:%M:%S", "%H:%M", "%H:%M:%S.%f"]
DATETIME_INPUT_FORMATS = ["%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M:%S.%f", "%Y-%m-%d %H:%M"]
