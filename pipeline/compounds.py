"""Numbers whose unit stands before them or is made of two parts: "day 7", "5 x 10^6/mL", "39 2/7 weeks"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pipeline import numerals
from pipeline.records import Quantity, Token
from pipeline.units import read_unit, split_attached, split_french, split_pair

_DIGIT = re.compile(r"\d|[½¼¾⅛⅜⅝⅞]")
_TIMES = re.compile(r"^x(\d{1,3})$")
_BY = re.compile(r"^(\d+(?:\.\d+)?)[x×](\d+(?:\.\d+)?)(?:[x×](\d+(?:\.\d+)?))?([a-z]{0,2})$")
_HOURS = re.compile(r"^([0-4])(?::|hr?)([0-5]\d)(?:m|min|mins)?$")
_LINKS_TO_LENGTH = frozenset("of was is : a total to = just under over about approx approximately".split())
_LENGTHS = frozenset("duration lasted lasting took tt".split())
_TIMED_IN_HOURS = frozenset(
    "tourniquet tq cuff operating operative surgical surgery anaesthesia anaesthetic anesthesia anesthetic total "
    "theatre ischaemia ischaemic ischemia ischemic clamp bypass cpb procedure skin-to-skin console cross-clamp".split()
)
_BEFORE_SIZE = re.compile(r"^(\d{1,2})[x×]$")
_ISH = re.compile(r"^(\d+)ish$")
_POWER = re.compile(r"^10[\^*](\d{1,2})$")
NUMBERED = {"day": "d", "week": "wk", "wk": "wk", "month": "mo", "days": "d", "weeks": "wk", "months": "mo"}
_PLURAL = frozenset({"days", "weeks", "months"})
_SEVENTHS = re.compile(r"^([1-6])/7$")


def has_digit(norm: str) -> bool:
    """Whether a digit or a written fraction is in a word."""
    return not norm.isalpha() and _DIGIT.search(norm) is not None


def spread(tokens: Sequence[Token]) -> list[Token]:
    """Cuts strings that hold more than a number: "10mL", "x2", "6x28mm"."""
    pieces: list[Token] = []
    for place, token in enumerate(tokens):
        if token.punctuation or not has_digit(token.norm):
            pieces.append(token)
            continue
        times = _TIMES.match(token.norm)
        about = _ISH.match(token.norm)
        lasted = _HOURS.match(token.norm)
        by = _BY.match(token.norm)
        if times:
            pieces += [_piece(token, "x"), _piece(token, times[1])]
        elif (before := _BEFORE_SIZE.match(token.norm)) and place + 1 < len(tokens) and (
            tokens[place + 1].norm[:1].isdigit()
        ):  # "3x 5.5mm anchors"
            pieces += [_piece(token, before[1]), _piece(token, "x")]
        elif about:
            pieces += [_piece(token, about[1]), _piece(token, "ish")]
        elif lasted and _is_length(tokens, place):
            pieces += [_piece(token, part) for part in (lasted[1], "h", lasted[2], "min")]
        elif token.norm.startswith(("10^", "x10^")) and "/" in token.norm:
            power, under = token.text.lstrip("xX").split("/", 1)
            pieces += [_piece(token, "x")] if token.norm[0] == "x" else []
            pieces += [_piece(token, power), _piece(token, "/"), _piece(token, under)]
        elif by and not (by[1] == by[2] and by[4] in ("", "s") and read_unit(tokens, place + 1, True) is None):
            pieces.append(_piece(token, by[1]))
            for part in (by[2], by[3]):
                if part:
                    pieces += [_piece(token, "x"), _piece(token, part)]
            if by[4]:
                pieces.append(_piece(token, by[4]))
        else:
            pair = split_french(tokens, place) or split_pair(tokens, place)
            pieces += split_attached(token) or pair or split_pressed(tokens, place)
    return pieces


def _is_length(tokens: Sequence[Token], place: int) -> bool:
    """Whether "1:12" or "1h12" is how long something took: behind a word for it, and no clock time follows."""
    at = place - 1
    while at >= 0 and tokens[at].norm in _LINKS_TO_LENGTH:
        at -= 1
    named = at >= 0 and (tokens[at].norm in _LENGTHS or at > 0 and tokens[at].norm == "time" and (
        tokens[at - 1].norm in _TIMED_IN_HOURS
    ))  # fmt: skip
    after = tokens[place + 1].norm if place + 1 < len(tokens) else ""
    return named and after not in ("to", "-", "until", "till", "h", "hours", "am", "pm")


def _piece(token: Token, text: str) -> Token:
    return Token(text, text.lower(), token.first, token.last)


def numbered(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "day 7", "week six": a point in time, counted in that unit."""
    if start + 1 >= len(norms) or norms[start + 1] in ("a", "an", "half", "quarter", "point"):
        return None
    numeral = numerals.read(norms, start + 1)
    if numeral is None or numeral.value is None or numeral.shape != "cardinal":
        return None
    if norms[start] in _PLURAL:
        return _from_to(tokens, norms, start, numeral)
    if read_unit(tokens, numeral.end, not numeral.spoken) is not None:
        return None
    unit = NUMBERED[norms[start]]
    return Quantity(value=numeral.value, unit=unit, said_unit=tokens[start].text, dimension="time"), numeral.end


def _from_to(
    tokens: Sequence[Token], norms: Sequence[str], start: int, first: numerals.Numeral
) -> tuple[Quantity, int] | None:
    """ "Weeks three and four", "days two to five": a stretch of time, where no number counts the weeks."""
    if norms[start - 1 : start] and norms[start - 1] not in _STRETCH_AFTER:
        return None
    if first.end + 1 >= len(norms) or norms[first.end] not in ("and", "to", "through", "until", "-"):
        return None
    last = numerals.read(norms, first.end + 1)
    if last is None or last.value is None or last.shape != "cardinal" or first.value is None:
        return None
    if not 0 < first.value < last.value <= _WEEKS or read_unit(tokens, last.end, not last.spoken) is not None:
        return None
    return Quantity(low=first.value, high=last.value, unit=NUMBERED[norms[start]], said_unit=tokens[start].text,
                    dimension="time", form="range"), last.end  # fmt: skip


def couple(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "A couple of mils", "a couple hundred mils": about two of a unit; None before anything else."""
    at = start + 2 + (norms[start + 2 : start + 3] in (["of"], ("of",)))
    many = numerals.SCALES.get(norms[at], 0) if at < len(norms) else 0
    said = read_unit(tokens, at + bool(many), False)
    if said is None or said.dimension not in ("volume", "mass", "length", "time", "turns", "amount"):
        return None
    words = " ".join(token.text for token in tokens[said.start : said.end])
    return Quantity(Decimal(2 * (many or 1)), unit=said.ucum, said_unit=words, dimension=said.dimension,
                    comparator="~"), said.end  # fmt: skip


_STRETCH_AFTER = frozenset("for in from during over on between , . ; : then degrees".split())
_WEEKS = 52


def millions(tokens: Sequence[Token], norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "five million per millilitre", "5 x 10^6/mL": so many 10*6/mL."""
    value, end, exponent = numeral.value, numeral.end, 6
    if value is None:
        return None
    power = _POWER.match(norms[end + 1]) if end + 1 < len(norms) and norms[end] in ("x", "×") else None
    if power is not None:
        exponent, end = int(power[1]), end + 2
    elif numeral.scale != 1_000_000:
        return None
    else:
        value = value.scaleb(-6).normalize()
        value = value.quantize(Decimal(1)) if value == int(value) else value  # 110, not 1.1E+2
        while end < len(norms) and norms[end] in ("cells", "nucleated", "total", "mononuclear"):
            end += 1
    if end >= len(norms) or norms[end] not in ("per", "/"):
        return None
    under = read_unit(tokens, end + 1, True)
    if under is None:
        return None
    words = " ".join(token.text for token in tokens[numeral.end : under.end])
    return Quantity(
        value=value, unit=f"10*{exponent}/{under.ucum}", said_unit=words, dimension="concentration"
    ), under.end


def in_two_words(
    tokens: Sequence[Token], norms: Sequence[str], numeral: numerals.Numeral
) -> tuple[Quantity, int] | None:
    """A number that is said in two parts, whatever its sort."""
    return millions(tokens, norms, numeral) or weeks_and_days(norms, numeral) or _of_warmth(norms, numeral)


_WARM = frozenset("temperature temp fever febrile pyrexia pyrexial spiked tmax".split())
_BODY = (33, 42)  # degrees Celsius that a body has


def _of_warmth(norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "Temperature thirty nine two": the point is not said; not "temperature thirty eight two days later"."""
    end, value = numeral.end, numeral.value
    tenth = numerals.SMALL.get(norms[end], 10) if end < len(norms) else 10
    if value is None or not numeral.spoken or tenth > 9 or value != int(value) or not _BODY[0] <= value <= _BODY[1]:
        return None
    after = norms[end + 1] if end + 1 < len(norms) else ""
    if not _WARM & set(norms[max(0, numeral.start - 3) : numeral.start]) or after in _OF_TIME:
        return None
    return Quantity(value=value + Decimal(tenth) / 10), end + 1


_OF_TIME = frozenset("day days hour hours week weeks times minute minutes night nights o'clock".split())


def weeks_and_days(norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "39 2/7 weeks", "forty plus three weeks", as obstetricians give weeks and days: exact in days."""
    end = numeral.end
    added = numerals.read(norms, end + 1) if norms[end : end + 1] in (["plus"], ["+"], ("plus",), ("+",)) else None
    if added is not None and added.value is not None and numeral.value is not None and (
        _PREGNANT[0] <= numeral.value <= _PREGNANT[1] and 0 <= added.value < 7 and added.end < len(norms)
        and norms[added.end] in ("weeks", "wk", "wks", "week")
    ):  # fmt: skip
        value = numeral.value * 7 + added.value
        return Quantity(value=value, unit="d", said_unit=norms[added.end], dimension="time"), added.end + 1
    if numeral.value is None or end + 1 >= len(norms) or norms[end + 1] not in ("weeks", "wk", "wks", "week"):
        return None
    days = _SEVENTHS.match(norms[end])
    if days is None or numeral.value != int(numeral.value):
        return None
    value = numeral.value * 7 + Decimal(days[1])
    return Quantity(value=value, unit="d", said_unit=norms[end + 1], dimension="time"), end + 2


_PREGNANT = (20, 43)  # weeks at which a birth is told in weeks and days
_SHORTHAND = re.compile(r"^(\d{1,2})(?:-(\d{1,2}))?/(7|52|12)$")
_PERIODS = {"7": ("d", 56), "52": ("wk", 52), "12": ("mo", 24)}  # the most that is written so
_LEADS = frozenset(
    "for in after at from until till x next review reviewed follow up fu follow-up f/u physio physiotherapy clinic opd "
    "work driving sling cast plaster daily od bd tds qds bid tid nocte mane prn within another about last past least "
    "weight bearing impact gym contact swimming golf cycling mri ct scan films "
    "sport sports squatting running pivoting flying kneeling lifting crutches appointment days sutures "
    "out brace boot splint bandage rest elevation dressing antibiotics abx lmwh nsaids analgesia mg g mcg units iu "
    "ml ros clips stitches ice oral orally tablets needed food removable night nights splinted protected then "
    "backslab slab shield patch collar frame drain "
    "partial full".split()
)
# "Review 12/12" may be the twelfth of December; "no running 12/12" is none.
_TO_A_DAY = frozenset("at in from until till next follow up fu follow-up f/u clinic review reviewed appointment opd "
                      "last past for after".split())  # fmt: skip
_MEDICINE = re.compile(r"(?:parin|xaban|cillin|mycin|profen|coxib|azole|spirin|floxacin|acetamol|clexane|fragmin)$")


def lasts(norms: Sequence[str], start: int) -> bool:
    """Whether two numbers over a stroke stand behind a word for what lasts, so that they are no day of the year."""
    if not start or _SHORTHAND.match(norms[start]) is None:
        return False
    chained = norms[start - 1] == "," and start > 1 and _SHORTHAND.match(norms[start - 2]) is not None
    return chained or norms[start - 1] in _LEADS - _TO_A_DAY


def shorthand(tokens: Sequence[Token], norms: Sequence[str], start: int) -> tuple[Quantity, int] | None:
    """ "2/52", "5/7", "3/12": so many weeks, days or months, as written in Britain (common practice, no source).
    Sevenths and twelfths only after a word that leads to a length of time, for both are fractions too."""
    match = _SHORTHAND.match(norms[start])
    if match is None:
        return None
    unit, most = _PERIODS[match[3]]
    before = norms[start - 1] if start else ""
    chained = before in (",", "and", "+", "&") and start > 1 and _SHORTHAND.match(norms[start - 2]) is not None
    if not 0 < int(match[1]) <= most or (
        match[3] != "52" and before not in _LEADS and not chained and not _MEDICINE.search(before)
    ):  # "F/U 6/52, 3/12, 6/12"
        return None
    after = norms[start + 1] if start + 1 < len(norms) else ""
    if after in ("of", "nodes", "weeks", "weeks'", "grade", "positive"):
        return None
    said = f"/{match[3]}"
    if match[2] is None:
        return Quantity(value=Decimal(match[1]), unit=unit, said_unit=said, dimension="time"), start + 1
    low, high = Decimal(match[1]), Decimal(match[2])
    if low >= high:
        return None
    return Quantity(low=low, high=high, form="range", unit=unit, said_unit=said, dimension="time"), start + 1


_A_DAY = tuple(kind((word,)) for word in ("daily", "a", "per", "each", "every") for kind in (list, tuple))
_EVERY = {"two": 2, "three": 3, "four": 4, "six": 6, "eight": 8, "twelve": 12, "2": 2, "3": 3, "4": 4, "6": 6, "8": 8,
          "12": 12}  # fmt: skip


def hourly(norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "Six hourly": how often. In "four hundred eight hourly" only the last word of the number belongs to it: the
    number before is given back without it."""
    end = numeral.end
    often = norms[end : end + 1] in (["times"], ("times",)) and norms[end + 1 : end + 2] in _A_DAY
    if often and norms[end - 1] in _EVERY and numeral.start < end - 1:  # "ibuprofen four hundred three times daily"
        before = numerals.read([*norms[: end - 1], "."], numeral.start)
        return (Quantity(value=before.value), before.end) if before is not None and before.end == end - 1 else None
    if end >= len(norms) or norms[end] != "hourly" or norms[end - 1] not in _EVERY:
        return None
    if numeral.start == end - 1:
        return Quantity(value=Decimal(_EVERY[norms[end - 1]]), unit="h", said_unit="hourly", dimension="time",
                        form="interval", text=f"{norms[end - 1]} hourly"), end + 1  # fmt: skip
    before = numerals.read([*norms[: end - 1], "."], numeral.start)
    if before is None or before.end != end - 1 or before.value is None:
        return None
    return Quantity(value=before.value), before.end


_CUFFS = frozenset({"tourniquet", "cuff", "tq", "inflated"})
_TO_PRESSURE = frozenset("at to of was set inflated pressure up on applied the thigh arm left right upper , :".split())
_PRESSED = re.compile(r"^(\d{3})/(\d{1,3})$")
_LOW, _HIGH = 100, 400  # mmHg of a tourniquet; common practice, no source
_LONGEST = 180  # minutes that a tourniquet is left up; longer is two numbers said in one


def _of_cuff(norms: Sequence[str], start: int) -> bool:
    """Whether only small words stand between a tourniquet and a number."""
    at = start - 1
    while at >= 0 and norms[at] in _TO_PRESSURE - _CUFFS:
        at -= 1
    return at >= 0 and norms[at] in _CUFFS


_FROM_NONE = tuple((word, "to") for word in ("zero", "nought", "naught", "0"))


def _of_pump(norms: Sequence[str], start: int) -> bool:
    at = start - 1
    while at >= 0 and norms[at] in ("at", "pressure", "was", "set", "to", "of", "on"):
        at -= 1
    return at >= 0 and norms[at] == "pump"


def _is_limit(norms: Sequence[str], start: int) -> bool:
    """ "No squats below ninety four months", "flexion to ninety six weeks": how far a joint may go, and how long."""
    return start > 1 and norms[start - 1] in _LIMITS and bool(_MOVED & set(norms[max(0, start - 5) : start - 1]))


_LIMITS = frozenset({"below", "past", "beyond", "over", "above", "to"})
_MOVED = frozenset("flexion squat squats squatting abduction elevation rotation bend bending er extension".split())


def pressed(tokens: Sequence[Token], norms: Sequence[str], numeral: numerals.Numeral) -> tuple[Quantity, int] | None:
    """ "Tourniquet two eighty seventy one minutes", "tourniquet three hundred fifty two minutes": how hard and how
    long, said in one breath. The pressure alone is given back, with what else the words could be."""
    if numeral.value is not None and numeral.spoken and numeral.end == numeral.start + 2 and (
        norms[numeral.start] in numerals.TENS
        and (_of_pump(norms, numeral.start) or _is_limit(norms, numeral.start)
             or tuple(norms[max(0, numeral.start - 2) : numeral.start]) in _FROM_NONE)
    ):  # "pump at sixty six litres in", "brace zero to ninety six weeks": nobody runs in or wears it so long
        said = read_unit(tokens, numeral.end, False)
        if said is not None and said.ucum in ("L", "wk", "mo", "h"):
            tens = numerals.TENS[norms[numeral.start]]
            doubt = f"taken as {tens} and {numeral.value - tens}; it could be {numeral.value}"
            return Quantity(value=Decimal(tens), doubts=(doubt,)), numeral.start + 1
    if numeral.value is None or not numeral.spoken or not _of_cuff(norms, numeral.start):
        return None
    if numeral.shape == "colloquial" and _LOW <= numeral.value <= _HIGH and numeral.value % 10 == 0:
        length = numerals.read(norms, numeral.end) if numeral.end < len(norms) else None
        said = read_unit(tokens, length.end, False) if length is not None else None
        if said is not None and said.dimension == "time":
            return Quantity(value=numeral.value, doubts=(numeral.doubt,)), numeral.end
    hundreds = numerals.SMALL.get(norms[numeral.start], 0) * 100
    if numeral.shape == "cardinal" and _LOW <= hundreds < numeral.value and numeral.value > _LONGEST and (
        norms[numeral.start + 1] == "hundred" and norms[numeral.start + 2] != "and"
    ):  # fmt: skip
        said = read_unit(tokens, numeral.end, False)
        if said is not None and said.ucum == "min":
            doubt = f"taken as {hundreds} and {numeral.value - hundreds}; it could be {numeral.value}"
            return Quantity(value=Decimal(hundreds), doubts=(doubt,)), numeral.start + 2
    return None


def split_pressed(tokens: Sequence[Token], place: int) -> list[Token]:
    """ "TQ 300/74 min": pressure and minutes over a stroke, as two numbers; any other token as it is."""
    token = tokens[place]
    match = _PRESSED.match(token.norm)
    if match is None or not _of_cuff([one.norm for one in tokens[:place]], place):
        return [token]
    if not (_LOW <= int(match[1]) <= _HIGH and int(match[2]) <= _LONGEST):
        return [token]
    return [Token(text, text, token.first, token.last) for text in (match[1], "/", match[2])]


def lend_scale(low: Decimal, high: Decimal, scale: int) -> Decimal:
    """ "1-200 cc" means 100 to 200: the low end borrows the hundreds of the high end when it stays below it."""
    if scale > 1 and low < 10 and low == int(low) and low * scale < high:
        return low * scale
    return low
