"""Times of day: minutes from one to another, over midnight, with the hours that a twelve-hour clock hides."""

from __future__ import annotations

import re
from datetime import date

from pipeline.dates import MONTHS, _year

_DAY, _HALF = 24 * 60, 12 * 60
# A later time may lie up to 16 hours ahead; what lies further is taken as before. Convention of this project.
_AHEAD = 16 * 60
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::\d{2})?$")
_DATE = re.compile(r"^(\d{4})-(\d{2})(?:-(\d{2}))?$")


def of_day(text: str) -> int | None:
    """Minutes since midnight of "HH:MM"; None if the text is no time."""
    match = _CLOCK.match(text.strip())
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        return None
    return int(match[1]) * 60 + int(match[2])


def minutes_between(early: str, late: str) -> int | None:
    """Minutes from `early` to `late` ("HH:MM"), negative if `late` is before; None if one is no time.

    23:50 to 00:40 is 50. 8:50 to 1:10 is 260: said on a twelve-hour clock, the afternoon is likelier than the
    night before. 14:12 to 2:48 is 36: half a day and more is likelier one time said with its half, and one without.
    """
    first, second = of_day(early), of_day(late)
    if first is None or second is None:
        return None
    ahead = (second - first) % _DAY
    afternoon = second + _HALF - first
    if ahead > _HALF and second < _HALF and first < _HALF + 60 and 0 <= afternoon <= 8 * 60:
        return afternoon
    halves = (first < _HALF) != (second < _HALF) and min(first, second) >= 60
    if halves and _HALF < ahead <= _HALF + 8 * 60:
        return ahead - _HALF
    return ahead if ahead <= _AHEAD else ahead - _DAY


def day(text: str) -> date | None:
    """The date of an ISO text, of "March 2024" or "03/2024"; a month without a day is its last day (an expiry holds to
    the end of the month). None for what can be read two ways."""
    match = _DATE.match(text.strip()) or _DATE.match(_month_and_year(text))
    if match is None:
        return None
    year, month = int(match[1]), int(match[2])
    try:
        if match[3] and match[3] != "00":
            return date(year, month, int(match[3]))
        following = date(year + month // 12, month % 12 + 1, 1)
        return date.fromordinal(following.toordinal() - 1)
    except ValueError:
        return None


def _month_and_year(text: str) -> str:
    """ "2024-03" for a month with its year of four digits, in words or figures; "" for anything else."""
    slashed = re.fullmatch(r"(\d{1,2})[/.](20\d{2})", text.strip())
    if slashed:
        return f"{slashed[2]}-{int(slashed[1]):02d}"
    words = [word.strip(".,") for word in text.lower().replace("-", " ").split()]
    if not words or words[0] not in MONTHS:
        return ""
    year = _year(words, 1)
    return f"{year[0]}-{MONTHS[words[0]]:02d}" if year is not None and year[1] == len(words) else ""
