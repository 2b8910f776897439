"""Days and moments in German: none has a nought before it, and the clock has 24 hours."""

DATE_FORMAT = SHORT_DATE_FORMAT = "j. M Y"
DATETIME_FORMAT = SHORT_DATETIME_FORMAT = "j. M Y, H:i"
TIME_FORMAT = "H:i"
MONTH_DAY_FORMAT = "j. M"
YEAR_MONTH_FORMAT = "F Y"
