"""Times of day and positions on a clock face."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline import counted_things, numerals, owners
from pipeline.records import Quantity, Token
from pipeline.units import is_unit_word

Found = tuple[Quantity, int]

_CLOCK = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)(?::[0-5]\d)?$")
GOVERNS = frozenset(
    "incision induction timeout room theatre theater tourniquet inflated deflated released started start began begun "
    "ended finished completed closed closure arrived delivered delivery born birth clamp clamped unclamped reperfusion "
    "onset wheels anaesthesia anesthesia handover baby placenta caecum cecum".split()
)
_HALVES = frozenset({"am", "pm", "a.m.", "p.m."})
_AT = frozenset(
    "at by until till since around about approximately time from between to and was is before after".split()
)
EVENTS = frozenset(
    "incision induction knife uterus start started starts began begun end ended ends timeout time-out out room "
    "closure closed up down arrived arrival delivery delivered born left inflated deflated released time onset "
    "finished finish completed theatre theater in skin stop stopped shut kts inc cut clamped unclamped declamped "
    "perfused reperfused docked undocked".split()
)
_STARTED = frozenset("start started stop stopped finish finished end ended began begun incision closure".split())
MARKED = frozenset(
    "at incision induction closure start started end finish finished closed in out up down timeout room delivery "
    "delivered born kts inc cut stop ended skin clamped unclamped declamped perfused reperfused".split()
)
_OF_DAY, _HALVES_SAID = ("in", "this", "last", "yesterday"), ("morning", "afternoon", "evening", "night")
_RESTATED = frozenset("correction sorry mean rather that".split())
_FACES = frozenset({"position", "positions", "meridian", "hour", "portal"})
TIMED = frozenset(
    "room induction incision began started start ended end closed closure arrived finished morning afternoon "
    "evening noon recovery theatre theater timeout tourniquet inflated deflated midnight".split()
)
PRESSED = frozenset("pressure set inflated mmhg tourniquet cuff elevated".split())


def word_at(norms: Sequence[str], index: int) -> str:
    """The word at a place, "" before the first and behind the last."""
    return norms[index] if 0 <= index < len(norms) else ""


def clock_face(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "at the three o'clock position", "from 3 to 6 o'clock". A bare "at 2 o'clock" is one too, unless the words
    around it tell a time of day. Text "3 o'clock", "1:30 o'clock"."""
    hour = norms[start]
    end = start + 1
    value = int(hour) if hour.isdigit() else numerals.SMALL.get(hour, 0)
    text = str(value)
    written = _CLOCK.match(hour)
    if written:
        value, text = int(written[1]), hour
    elif value and word_at(norms, end) == "thirty":
        text, end = f"{value}:30", end + 1
    if not 1 <= value <= 12:
        return None
    follows = word_at(norms, end)
    shared = follows in ("to", "and", "or") and any(
        word_at(norms, at) in ("o'clock", "oclock") for at in (end + 2, end + 3)
    )
    if not shared:
        if follows in ("o'clock", "oclock"):
            end += 1
        elif follows in ("o", "'o", "o'") and word_at(norms, end + 1) == "clock":
            end += 2
        else:
            return None
    after = word_at(norms, end)
    if after in _HALVES or after in ("noon", "hours") or (after == "in" and word_at(norms, end + 2) in TIMED):
        return None
    around = norms[max(0, start - 6) : start]
    timed = any(word in TIMED or word == "knife" or owners.is_antibiotic(word) for word in around)
    if timed and "incision" in around and "o'clock" in norms[max(0, start - 15) : start] and "skin" not in around:
        timed = False  # "a lesion between two and four o'clock, the incision at three o'clock"
    timed = timed or (_closes_span(norms, start) and _to_the_minute(norms, start))
    named = shared or after in _FACES or word_at(norms, start - 1) == "the"
    if not named and timed and not is_round(norms, start):
        return None
    return Quantity(form="clock_face", text=f"{text} o'clock"), end


def _to_the_minute(norms: Sequence[str], start: int) -> bool:
    """ "From ten thirty two to twelve o'clock": no face of a clock is told to the minute."""
    led = next((at for at in range(start - 3, max(-1, start - 6), -1) if norms[at] in ("from", "between")), start)
    return _said_at(norms, led + 1)[0] % 60 not in (0, 30)


# What has a clock face: the eye, a socket, the anus, the breast, the wall of the belly for a scope.
_ROUND = frozenset(
    "corneal cornea limbal limbus paracentesis conjunctival conjunctiva sclerotomy port anchor anchors labrum labral "
    "glenoid acetabular acetabulum rim socket anal anus haemorrhoid haemorrhoids hemorrhoid hemorrhoids pile piles "
    "fissure fistula areola areolar nipple hymen introitus iris capsulorhexis trabeculectomy flap tear retinal".split()
)


def is_round(norms: Sequence[str], start: int) -> bool:
    return any(word in _ROUND for word in norms[max(0, start - 6) : start + 8])


def clock(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """Times of day: "14:05", "fourteen hundred hours", "oh nine fifteen", "ten thirty a.m.", "at eight fifty",
    "half past eight". Text "HH:MM" on the 24-hour clock."""
    norm = norms[start]
    written = _CLOCK.match(norm)
    if written:
        return finish(int(written[1]), int(written[2]), norms, start, start + 1, sure=len(written[1]) == 2)
    if norm in _MINUTES:
        found = relative(norms, start)
        if found is not None:
            return found
    return _spoken(tokens, norms, start)


_DOSED_SAID = frozenset({"gram", "grams", "milligram", "milligrams", "intravenously", "iv"})


def _closes_span(norms: Sequence[str], start: int) -> bool:
    """ "From fifteen twenty to sixteen fifty seven": the second of two times, where the first is one."""
    if word_at(norms, start - 1) not in ("to", "until", "till"):
        return False
    led = next((at for at in range(start - 3, max(-1, start - 6), -1) if norms[at] in ("from", "between")), None)
    return led is not None and _said_at(norms, led + 1)[1] == start - 1


def _said_at(norms: Sequence[str], start: int) -> tuple[int, int]:
    """(minutes since midnight, end) of an hour and its minutes in words; end -1 where they are none."""
    hour = numerals._below_hundred(norms, start)
    minute, end = _minutes(norms, hour[1]) if hour is not None and hour[0] < 24 else (None, start)
    return (hour[0] * 60 + minute, end) if hour is not None and minute is not None else (0, -1)


def _spans(norms: Sequence[str], start: int) -> bool:
    """ "Tourniquet three hundred, ten fifty eight to eleven forty one": one of two times of what lasts, in order and
    within half a day."""
    near = norms[max(0, start - _LASTING) : start]
    if not any(word in SPANNED for word in near):
        return False
    here, end = _said_at(norms, start)
    if end > 0 and word_at(norms, end) in ("to", "until", "till"):
        other, last = _said_at(norms, end + 1)
        return last > 0 and 0 < other - here < 720 and not counts(norms, last)
    if word_at(norms, start - 1) not in ("to", "until", "till") or end < 0 or counts(norms, end):
        return False
    firsts = (_said_at(norms, at) for at in range(max(0, start - 5), start - 2))
    return any(last == start - 1 and 0 < here - one < 720 for one, last in firsts)


_LASTING = 15  # words from what lasts to its times ("tourniquet two hundred and fifty millimetres of mercury, ...")
_MOVED = frozenset({"up", "down", "released", "deflated"})
_SPUN = frozenset({"spun", "spin", "spins", "centrifuged", "centrifuge", "rpm", "revs"})  # "spun at fifteen hundred"


def _spoken(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    norm = norms[start]
    led = norm in numerals.ZERO
    index = start + led
    hour = numerals._below_hundred(norms, index)
    value = hour[0] if hour else -1
    after = hour[1] if hour else index + 1
    if hour is None and norms[start].isdigit() and len(norms[start]) <= 2:
        value, after = int(norms[start]), start + 1
    if not 0 <= value <= 24 or (led and value > 9):
        return None
    follows = word_at(norms, after)
    if follows == "hundred":  # "thirteen hundred thirty hours"
        minute, end = _minutes(norms, after + 1 + (word_at(norms, after + 1) == "and"))
        if minute is not None and word_at(norms, end) in ("hours", "hrs"):
            return finish(value % 24, minute, norms, start, end + 1, sure=True)
    if follows == "hundred" and (led or value > 9 or value == 0 or word_at(norms, after + 1) in ("hours", "hrs")):
        if word_at(norms, after + 1) in ("hours", "hrs") or (
            cued(norms, start) and (led or norms[start - 1] in _STARTED | {"at"}
                                    or [*norms[start - 2 : start]] == ["time", "out"])
            and not counts(norms, after + 1) and not _SPUN & set(norms[max(0, start - 7) : start])
        ):
            return finish(value % 24, 0, norms, start, after + 1, sure=True)
        return None
    if follows in _HALVES or (follows in ("a", "p") and word_at(norms, after + 1) == "m"):
        return finish(value, 0, norms, start, after, sure=False)
    if follows in ("o'clock", "oclock") and not led:
        return finish(value, 0, norms, start, after + 1, sure=False)
    if follows in ("noon", "midnight") and value == 12:
        return finish(12 if follows == "noon" else 0, 0, norms, start, after + 1, sure=True)
    minute, end = _minutes(norms, after)
    if minute is None and not led and 0 < value <= 12:
        minute, end = _bare_minute(norms, start, after)
    if minute is None:
        return None
    told = word_at(norms, end) in _HALVES or word_at(norms, end) in ("hours", "hrs") or (
        word_at(norms, end) in ("a", "p") and word_at(norms, end + 1) == "m")  # fmt: skip
    announced = follows in ("oh", "o") and word_at(norms, start - 1) in ("is", "it's", "now") and (
        word_at(norms, start - 2) in ("it", "time") or word_at(norms, start - 1) == "it's"
    )
    if (led and value <= 9) or announced or (word_at(norms, end) == "in" and word_at(norms, end + 2) in _HALVES_SAID):
        told = True
    told = told or (_closes_span(norms, start) and not counts(norms, end)) or _spans(norms, start)
    if not told:
        if not cued(norms, start) or counts(norms, end) or word_at(norms, end) in ("x", "by", "of"):
            return None
        if (digits := norms[start].isdigit()) != norms[after].isdigit() or (digits and len(norms[after]) != 2):
            return None
        if any(word in PRESSED for word in norms[max(0, start - 6) : start]) and value in (1, 2, 3):
            told = word_at(norms, start - 1) == "at" and is_number_word(word_at(norms, start - 2))
            if not (told or _MOVED & set(norms[max(0, start - 4) : start])):
                return None  # "tourniquet two fifty", but "tourniquet two twenty five at one fifty six"
    return finish(value, minute, norms, start, end, sure=led or value > 12)


def _minutes(norms: Sequence[str], start: int) -> tuple[int | None, int]:
    norm = word_at(norms, start)
    if norm in ("oh", "o", "zero"):
        digit = numerals.SMALL.get(word_at(norms, start + 1), 10)
        return (digit, start + 2) if digit < 10 else (None, start)
    if norm.isdigit() and len(norm) == 2 and int(norm) < 60:
        return int(norm), start + 1
    pair = numerals._below_hundred(norms, start)
    if pair is not None and 10 <= pair[0] < 60:
        cut = pair[1] == start + 2 and word_at(norms, pair[1]) == "hundred"  # "eleven thirty one hundred minutes"
        return pair[0] - pair[0] % 10 * cut, pair[1] - cut
    return None, start


# Verbs and events before "at", so that "at eleven five" can only be a time.
_AT_EVENT = frozenset("given out inflated deflated released started closed taken cut incision done finished up down on "
                      "off timeout".split())  # fmt: skip


def _bare_minute(norms: Sequence[str], start: int, at: int) -> tuple[int | None, int]:
    """The five of "released at three five PM", "given at eleven five.": a minute said without its nought."""
    digit = numerals.SMALL.get(word_at(norms, at), 0)
    behind, before = word_at(norms, at + 1), word_at(norms, start - 1)
    half = behind in _HALVES or (behind in ("a", "p") and word_at(norms, at + 2) == "m")
    event = before == "at" and word_at(norms, start - 2) in _AT_EVENT and behind in ("", ".", ",", ";")
    if 0 < digit < 10 and ((half and (before in ("at", "by", "until", "till") or cued(norms, start))) or event):
        return digit, at + 1
    return None, at


def counts(norms: Sequence[str], end: int) -> bool:
    """Whether what follows makes the number before it a quantity: a unit, a scale, a point."""
    after = word_at(norms, end)
    if after == "full" or (after == "c" and is_number_word(word_at(norms, end + 1))):
        return word_at(norms, end + 1).startswith("turn")  # "at eight forty one c five six", "... full sternotomy"
    return (
        after in numerals.SCALES or after in ("point", "hole", "blade", "per", "year", "years") or is_unit_word(after)
    )


def cued(norms: Sequence[str], start: int) -> bool:
    before = word_at(norms, start - 1)
    if before in ("by", "x") and is_number_word(word_at(norms, start - 2)):
        return False  # "a nail eleven by three forty"
    if _restates(norms, start):
        return True
    if before in _RESTATED or (before == "," and word_at(norms, start - 2) in _RESTATED):
        return any(word in TIMED or word in EVENTS or word == "at" for word in norms[max(0, start - 10) : start])
    done = before == "done" and word_at(norms, start - 2) in DONE_WITH and not _is_year(norms, start)
    if done or (before in ("on", "off") and of_on_off(norms, start)):
        return True  # "no complications done sixteen oh nine", "clamp on nine thirty one, off ten thirty two"
    if before in ("from", "to", "until") and any(word in SPANNED for word in norms[max(0, start - 12) : start]):
        return True
    if before in _AT:
        return before not in ("to", "and", "was", "is", "from", "between", "about", "after", "before") or any(
            word in TIMED or word == "time" for word in norms[max(0, start - 12) : start]
        )
    said = word_at(norms, start - 2) if before == "," else before  # "cefazolin, two grams, seven twenty five"
    if said in _DOSED_SAID and any(owners.is_timed(word) for word in norms[max(0, start - 7) : start]):
        return True  # "cefuroxime one point five grams eight twenty six"
    if owners.is_antibiotic(before) and word_at(norms, start - 2) in _DOSED_SAID:
        return True  # "two grams cefazolin seven thirty two": it has its dose
    return any(word in EVENTS for word in norms[max(0, start - 2) : start]) or (
        before in (",", ":") and any(word in EVENTS for word in norms[max(0, start - 4) : start])
    )


def of_on_off(norms: Sequence[str], start: int) -> bool:
    """Whether something that is put on and taken off (a clamp, a tourniquet) is named near by."""
    return not ON_OFF.isdisjoint(norms[max(0, start - 12) : start + 5])


DONE_WITH = frozenset({"complications", "complication", "correct", "all"})


def _is_year(norms: Sequence[str], start: int) -> bool:
    """ "All done twenty nineteen"."""
    return norms[start] in ("twenty", "nineteen", "20", "19")


_TAKES_BACK = frozenset(
    "no wait actually sorry mean i make it that rather or correction was is at , on hang hold".split()
)
_CLOCK_WORDS = 4


def _restates(norms: Sequence[str], start: int) -> bool:
    """ "Incision at eight twenty five no wait eight thirty five": only words of correction since a time of day."""
    at = start
    while at and norms[at - 1] in _TAKES_BACK:
        at -= 1
    if not {"no", "wait", "actually", "sorry", "mean", "make", "rather", "correction"} & set(norms[at:start]):
        return False
    for first in range(max(0, at - _CLOCK_WORDS), at):
        if norms[first] in _TAKES_BACK or not is_number_word(norms[first]) and norms[first] not in numerals.ZERO:
            continue
        found = _CLOCK.match(norms[first]) or _spoken((), norms, first)
        if found and (first + 1 if not isinstance(found, tuple) else found[1]) == at:
            return True
    return False


ON_OFF = frozenset("clamp clamps clamped traction bypass pump tourniquet cuff circuit ecmo".split())
SPANNED = frozenset(
    "skin surgery operation operating operative procedure tourniquet clamp bypass traction theatre theater anaesthesia "
    "anesthesia anaesthetic case".split()
)


def is_number_word(norm: str) -> bool:
    return norm[:1].isdigit() or norm in numerals.SMALL or norm in numerals.TENS


_MINUTES = {"half": 30, "quarter": 15, "five": 5, "ten": 10, "twenty": 20}


def relative(norms: Sequence[str], start: int) -> Found | None:
    """ "half past eight", "twenty five past nine", "quarter to ten"; other minutes to the hour only where the word of
    an event leads on to them, for "five to nine" may be a range too."""
    minutes, link = _MINUTES[norms[start]], start + 1
    if minutes == 20 and word_at(norms, link) == "five":
        minutes, link = 25, link + 1
    said = word_at(norms, link)
    hour = numerals._below_hundred(norms, link + 1) if said in ("past", "to") else None
    if hour is None or not 1 <= hour[0] <= 12 or (said == "to" and norms[start] == "half"):
        return None
    if said == "past":
        return finish(hour[0], minutes, norms, start, hour[1], sure=False)
    quarter = cued(norms, start - (word_at(norms, start - 1) == "a"))  # "at a quarter to eight"
    if counts(norms, hour[1]) or not (quarter if minutes == 15 else leads(norms, start)):
        return None
    return finish((hour[0] - 1) or 12, 60 - minutes, norms, start, hour[1], sure=False)


_LED_BY = GOVERNS | TIMED | EVENTS


_TO_DRUG = 7  # words from an antibiotic over its dose to its time


def leads(norms: Sequence[str], start: int) -> bool:
    """Whether the word of an event stands right before a time, or before "at" and the time."""
    before = word_at(norms, start - 1)
    if before in ("at", "by", "until", "till", "since"):
        switched = word_at(norms, start - 2) in ("on", "off") and of_on_off(norms, start)
        near = norms[max(0, start - _TO_DRUG) : start - 1] if before == "at" else ()
        timed = any(owners.is_timed(norm) for norm in near)  # "cefazolin two grams at five to nine"
        return switched or timed or not _LED_BY.isdisjoint(norms[max(0, start - 6) : start])
    return before in GOVERNS or (before == "out" and word_at(norms, start - 2) == "time")


def finish(hour: int, minute: int, norms: Sequence[str], start: int, end: int, *, sure: bool) -> Found | None:
    """The clock quantity; "a.m." and "p.m." are applied, "hours" swallowed. `sure`: said on the 24-hour clock."""
    half = word_at(norms, end)
    if half in ("a", "p") and word_at(norms, end + 1) == "m":
        half, end = f"{half}m", end + 1
    if half in _HALVES or half in ("am", "pm"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half[0] == "p" else 0)
        sure, end = True, end + 1
    elif half in ("hours", "hrs", "h") and sure:
        end += 1
    elif half in _OF_DAY and (said := word_at(norms, end + 1 + (half == "in"))) in _HALVES_SAID:
        hour = hour % 12 + 12 * (said != "morning" and not (said == "night" and hour % 12 < 5))
        sure, end = True, end + 3 * (half == "in")  # "ten past eleven last night": the day is told by words of its own
    hour = 0 if hour == 24 else hour
    doubts = counted_things.ends_time(norms, end, hour, minute)
    doubts += () if sure or not 1 <= hour <= 6 else ("morning or afternoon was not said",)
    return Quantity(form="clock", text=f"{hour:02d}:{minute:02d}", doubts=doubts), end
