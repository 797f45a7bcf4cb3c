"""Days in pictures, where a whole month has no room; all else is as Django has it for German."""

DAY_OF_PICTURE_FORMAT = "j. M"
DAY_AND_YEAR_OF_PICTURE_FORMAT = "j. M Y"
