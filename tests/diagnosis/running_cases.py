"""Plans, days and a knee that the tests of running habits share; invented."""

from __future__ import annotations

from datetime import date, timedelta

NAN = float("nan")
MONDAY, SUNDAY_25H = date(2026, 11, 2), date(2026, 11, 1)
FAST = ((1, 2800, 360, 720), (2, 1000, 720, 1200))  # 6 h fast
CRAWL = ((1, 1200, 360, 420), (2, 700, 420, 720))  # an hour at 1200, five at 700
KNEE = {"knee": ("given", 1000), "grid": {700: (120.0, 2.0), 1000: (170.0, 4.0), 1200: (230.0, 5.0)}}
PRIMED = {"priming_speed_rpm": 1800.0, "priming_min": 5.0}


def days(n: int, first: date = MONDAY) -> list[date]:
    return [first + timedelta(days=at) for at in range(n)]


def verdicts(rows: list[dict]) -> list[str]:
    return [row["verdict"] for row in rows]
