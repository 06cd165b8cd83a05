"""Named grades: Outerbridge II-III, ICRS 3a, Kellgren-Lawrence four, ASIA, Gartland, or a plain "grade three".

`text` is the level as said ("II-III"), `value` or `low`/`high` its number where it has one (letters have none).
A grade of which no system was said keeps `name` empty: which one was meant is not guessed.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline import laterality, story
from pipeline.extractors import _graded_sides, _number_sides, base
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence, replace
from pipeline.rows import Grade

KINDS = ("grade",)

_WORDS = frozenset({"grade", "grades", "gr", "gr.", "class", "stage", "type", "classification", "score", "level"})
_PLAIN = frozenset({"grade", "grades", "gr", "gr."})
_GLUE = frozenset({"of", "is", "was", "were", "to", "a", "the", "-", ":", ",", "lesion", "changes", "system"})
_SIDES = frozenset({"left", "right"})  # "KL right 3, left 2"
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6}
_LETTERED = re.compile(r"^\d[A-F]$")
_LETTERS = frozenset("abcde")


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    for sentence in reading.sentences:
        taken: set[int] = set()
        for mention in base.mentions(sentence, "grades"):
            facts += _named(reading, sentence, mention, grammar, taken)
        for index, token in enumerate(sentence.tokens) if sentence.says(_PLAIN) else ():
            if token.norm in _PLAIN and index not in taken:
                facts += _at(reading, sentence, index, index + 1, None, grammar, taken)
        facts += _listed(reading, sentence, grammar, taken)
        facts += _of_both_sides(reading, sentence, facts, grammar, taken)
        facts = _named_behind(sentence, facts)
    return facts


def _named_behind(sentence: Sentence, facts: list[Fact]) -> list[Fact]:
    """ "Grade two of the patella, grade three of the trochlea by Outerbridge": the system behind its levels."""
    own = [fact for fact in facts if sentence.tokens and fact.evidence.first >= sentence.tokens[0].first]
    systems = [mention for mention in base.mentions(sentence, "grades") if mention.first
               and sentence.tokens[mention.first - 1].norm in _BY]  # fmt: skip
    if len(systems) != 1 or any(fact.name is not None for fact in own):
        return facts
    named = sentence.tokens[systems[0].first].first
    return [replace(fact, name=systems[0].id) if fact in own and fact.evidence.first < named else fact
            for fact in facts]  # fmt: skip


_BY = frozenset({"by", "to", "per", "using"})  # "according to Outerbridge"


def _of_both_sides(
    reading: Reading, sentence: Sentence, found: list[Fact], grammar: Grammar, taken: set[int]
) -> list[Fact]:  # fmt: skip
    """ "Ficat two on the right and one on the left": the bare level takes the system and the part of the one before."""
    facts: list[Fact] = []
    for at in range(min(taken, default=len(sentence.tokens)), len(sentence.tokens)):
        said_one = at not in taken and sentence.tokens[at].norm == "one"  # "one on the left" may look like a pronoun
        level = None if at in taken else ("1", 1, 1, at) if said_one else _level(sentence, at)
        if level is None or level[1] is None or level[1] > _HIGHEST:
            continue
        side = _graded_sides.of_other_side(sentence, at, level[3])
        before = [fact for fact in found if fact.evidence.last < sentence.tokens[at].first]
        if side is None or not before or before[-1].evidence.first < sentence.tokens[0].first:
            continue
        for fact in _at(reading, sentence, at, at, None, grammar, taken) or [
            base.make("grade", reading, sentence, at, at, text="1", value=Decimal(1))
        ]:
            facts.append(replace(fact, name=before[-1].name, body_site=before[-1].body_site, laterality=side))
    return facts


def _listed(reading: Reading, sentence: Sentence, grammar: Grammar, taken: set[int]) -> list[Fact]:
    """Further levels of a list: "Outerbridge: condyle III, plateau II", "grade two on the patella, three on the
    trochlea". Each stands beside a part of the body, and the word grade or the name of the system goes before."""
    systems = list(base.mentions(sentence, "grades"))
    if not systems and not sentence.says(_PLAIN):
        return []
    led = [index for index, token in enumerate(sentence.tokens) if token.norm in _PLAIN]
    if not systems and not led or len({mention.id for mention in systems}) > 1:
        return []
    system = systems[0] if systems else None
    begin = min([*led, *(mention.first for mention in systems)])
    facts: list[Fact] = []
    for site in base.mentions(sentence, "sites"):
        if site.first < begin:
            continue
        for at in (_behind_site(sentence, site), _before_site(sentence, site)):
            if at is None or at in taken or not _ends(sentence, at, site):
                continue
            side, doubt = laterality.side_for(sentence, site.first, site.last, grammar)
            if side is None and (of_pair := _graded_sides.of_other_side(sentence, at, at)) is not None:
                side, doubt = of_pair, None
            for fact in _at(reading, sentence, at, at, system, grammar, taken):
                doubts = (*fact.doubts, doubt) if doubt else fact.doubts
                facts.append(replace(fact, body_site=site.id, laterality=side, doubts=doubts))
            break
    return facts


def _behind_site(sentence: Sentence, site: Mention) -> int | None:
    at = site.last + 1
    while at < len(sentence.tokens) and sentence.tokens[at].norm in (":", "-", "is", "was", "a", "grade"):
        at += 1
    return at if at < len(sentence.tokens) else None


def _before_site(sentence: Sentence, site: Mention) -> int | None:
    at = site.first - 1
    while at > 0 and sentence.tokens[at].norm in ("the", "left", "right"):
        at -= 1
    if at > 0 and _level(sentence, at) is not None:  # "ICRS 1 patella, 2 trochlea"
        after = sentence.tokens[site.last + 1 : site.last + 2]
        closed = not after or after[0].punctuation or after[0].norm in ("and", "with")
        return at if closed and sentence.tokens[at - 1].norm in (",", "and", ";") else None
    if at < 2 or sentence.tokens[at].norm not in ("on", "of", "in", "at", "for"):
        return None
    return at - 1 if sentence.tokens[at - 2].norm in (",", "and", ";") else None


def _ends(sentence: Sentence, at: int, site: Mention) -> bool:
    """Whether a bare level closes its item and counts or measures nothing."""
    level = _level(sentence, at)
    if level is None or level[1] is None or level[1] > _HIGHEST:
        return False
    after = sentence.tokens[level[3] + 1] if level[3] + 1 < len(sentence.tokens) else None
    if at < site.first or after is None or after.punctuation or after.norm in ("and", "with"):
        return True
    if after.norm in _NEXT_PLACE and sentence.tokens[at - 1].quantity is None:
        return any(m.last == at - 1 for m in base.mentions(sentence, "sites"))
    behind = next((m for m in base.mentions(sentence, "sites") if m.first == level[3] + 1), None)
    # "patella one to two trochlea zero": in a row of parts with their levels
    return behind is not None and behind.last + 1 < len(sentence.tokens) and _ends(sentence, behind.last + 1, behind)


_HIGHEST = 5
_NEXT_PLACE = frozenset("medial lateral plateau plateaus tibial femoral elsewhere rest others".split())


def _named(reading: Reading, sentence: Sentence, mention: Mention, grammar: Grammar, taken: set[int]) -> list[Fact]:
    """The level after the name of a system, else the one right before it ("grade two Outerbridge")."""
    start = mention.last + 1
    while start < len(sentence.tokens) and start <= mention.last + 3 and (
        sentence.tokens[start].norm in _WORDS or sentence.tokens[start].norm in _GLUE
        or (sentence.tokens[start].norm in _SIDES and _level(sentence, start + 1) is not None)
    ):
        taken.add(start)
        start += 1
    bare = not any(token.norm in _WORDS for token in sentence.tokens[mention.first : start])
    counts = bare and any(device.table == "devices" and device.first - 2 <= start < device.first
                          for device in sentence.mentions)  # fmt: skip
    found = [] if counts else _at(reading, sentence, mention.first, start, mention, grammar, taken)
    if found:
        return found
    for index in range(mention.first - 1, max(-1, mention.first - 4), -1):
        if sentence.tokens[index].norm in _WORDS and index + 1 < mention.first:
            taken.add(index)
            return _at(reading, sentence, index, index + 1, mention, grammar, taken)
    return []


def _at(
    reading: Reading, sentence: Sentence, first: int, start: int, mention: Mention | None, grammar: Grammar,
    taken: set[int],
) -> list[Fact]:  # fmt: skip
    """Grades at `start`: one level, a range ("two to three"), or levels joined by "and"."""
    level = _level(sentence, start)
    if level is None:
        return []
    text, low, high, end = _summed(sentence, level, mention)
    values: dict[str, Decimal | None] = {}
    if low is not None and high is not None and low != high:
        values = {"low": Decimal(low), "high": Decimal(high)}
    elif low is not None:
        values = {"value": Decimal(low)}
    taken.update(range(first, end + 1))
    unsure = _may_be_lettered(sentence, end, text, mention, grammar)
    anchor = mention or Mention("grades", "", first, end)
    if sentence.tokens[start].quantity is not None:
        fact: Fact = base.claim(
            "grade", reading, sentence, start, first, end, 0,
            **{"low": None, "high": None, "value": None, "unit": None, "comparator": None, **values, "text": text},
        )  # fmt: skip
    else:
        fact = base.make("grade", reading, sentence, first, end, text=text, **values)
    side, doubt = _number_sides.of_grade(sentence, first, end, grammar)
    site = _row_of_grades(sentence, first, end, taken)
    site = site or story.site_of(sentence, Mention(anchor.table, anchor.id, first, end), grammar)
    if site is None and not _elsewhere(sentence, end):
        site = story.site_before(sentence, Mention("grades", "", first, end))
    if site is not None and _of_another(sentence, first, site, taken):
        site = None
    if site == "articular-cartilage":
        site = _cartilage_of(sentence, first) or site
    own = grammar.table("grades", Grade)[mention.id].sites if mention is not None else ()
    if own and site not in own:
        site = _of_system(sentence, first, own)
    return [
        replace(
            fact,
            name=mention.id if mention is not None else None,
            laterality=side,
            body_site=site,
            doubts=tuple(one for one in (*fact.doubts, doubt, unsure) if one),
        )
    ]


def _summed(
    sentence: Sentence, level: tuple[str, int | None, int | None, int], mention: Mention | None
) -> tuple[str, int | None, int | None, int]:
    """ "Gleason four plus three": the score is the sum of the two patterns."""
    _, low, high, end = level
    if mention is None or mention.id != "gleason" or low is None or low != high or end + 2 >= len(sentence.tokens):
        return level
    second = sentence.tokens[end + 2].quantity
    if sentence.tokens[end + 1].norm not in ("plus", "+") or second is None or second.value is None or second.unit:
        return level
    whole = low + int(second.value)
    return str(whole), whole, whole, end + 2


def _cartilage_of(sentence: Sentence, first: int) -> str | None:
    """ "Lunate cartilage Outerbridge two", "cartilage of the rim grade two": the part that it covers."""
    sites = [m for m in base.mentions(sentence, "sites") if m.last < first]
    at = next((n for n in range(len(sites) - 1, -1, -1) if sites[n].id == "articular-cartilage"), None)
    if at is None:
        return None
    before, behind = sites[at - 1 : at], sites[at + 1 : at + 2]
    if behind and all(token.norm in ("of", "on", "at", "the") for token in (
        sentence.tokens[sites[at].last + 1 : behind[0].first]
    )):  # fmt: skip
        return behind[0].id
    return before[0].id if before and before[0].last == sites[at].first - 1 else None


def _of_system(sentence: Sentence, first: int, own: tuple[str, ...]) -> str | None:
    """The part that a system grades, where another stands beside it ("acromion type two bursa thick"): the only one, or
    the last of them said before."""
    if len(own) == 1:
        return own[0]
    said = [m.id for m in base.mentions(sentence, "sites") if m.last < first and m.id in own]
    return said[-1] if said else None


def _row_of_grades(sentence: Sentence, first: int, end: int, taken: set[int]) -> str | None:
    """ "Grade two patella grade three trochlea": in a row that begins with a grade each is of the part behind it."""
    sites = list(base.mentions(sentence, "sites"))
    behind = next((site.id for site in sites if site.first == end + 1), None)
    ends = {site.last: site for site in sites}
    at = first
    while behind is not None and (before := ends.get(at - 1)) is not None:
        if before.first - 1 not in taken:
            return None  # the row begins with a part
        at = before.first - 1
        while at - 1 in taken:
            at -= 1
    return behind if at < first else None


def _of_another(sentence: Sentence, first: int, site: str, taken: set[int]) -> bool:
    """ "Glenoid Outerbridge 2, head Outerbridge 3": a part that no row names stands before a grade, and the part that
    was named has one of its own."""
    before = [m for m in base.mentions(sentence, "sites") if m.id == site and m.last < first]
    if not before or first < 2:
        return False
    between = sentence.tokens[before[-1].last + 1 : first]
    told = any(at in taken for at in range(before[-1].last + 1, first))
    own = between[-1:] if between else ()
    named = bool(own) and own[0].norm.isalpha() and own[0].norm not in _WORDS | _GLUE | _ROMAN.keys() and (
        own[0].norm not in ("and", "or", "with", "on", "at")
    )
    return told and named and any(token.norm == "," for token in between)


def _may_be_lettered(sentence: Sentence, end: int, text: str, mention: Mention | None, grammar: Grammar) -> str | None:
    """ "Gustilo three a fracture": an article or the letter of a level that the system has."""
    after = sentence.tokens[end + 1 : end + 2]
    if mention is None or not after or after[0].norm != "a":
        return None
    lettered = f"{text}A"
    known = grammar.table("grades", Grade)[mention.id].levels
    return f"may be {lettered}" if lettered in known else None


def _elsewhere(sentence: Sentence, end: int) -> bool:
    return any(token.norm in ("elsewhere", "otherwise") for token in sentence.tokens[end + 1 : end + 3])


def _level(sentence: Sentence, at: int) -> tuple[str, int | None, int | None, int] | None:
    """(level as said, lowest number, highest number, last token) of the level at a token."""
    if at >= len(sentence.tokens):
        return None
    token = sentence.tokens[at]
    if token.quantity is not None:
        return _of_quantity(sentence, at, token.quantity)
    first = _one(token.norm)
    if first is None:
        return None
    if at + 2 < len(sentence.tokens) and sentence.tokens[at + 1].norm in ("to", "-", "or", "/", "and"):
        second = _one(sentence.tokens[at + 2].norm)
        if second is not None:
            joint = "-" if sentence.tokens[at + 1].norm in ("to", "-", "/") else f" {sentence.tokens[at + 1].norm} "
            return f"{first[0]}{joint}{second[0]}", first[1], second[1], at + 2
    return first[0], first[1], first[1], at


def _of_quantity(sentence: Sentence, at: int, quantity: Quantity) -> tuple[str, int | None, int | None, int] | None:
    if quantity.unit is not None or quantity.form not in ("number", "range", "roman", "ordinal", "label"):
        return None
    last = at
    if quantity.value is not None:
        number: int | None = int(quantity.value) if quantity.value == quantity.value.to_integral_value() else None
        if number is None or number > 10:
            return None
        lettered = _LETTERED.match(quantity.text.upper())
        text = quantity.text if quantity.form == "roman" else lettered[0] if lettered else str(number)
        low = high = number
    elif quantity.low is not None and quantity.high is not None:
        low, high = int(quantity.low), int(quantity.high)
        text = quantity.text if quantity.form == "roman" else f"{low}-{high}"
    else:
        return None
    following = sentence.tokens[at + 1] if at + 1 < len(sentence.tokens) else None
    if following is not None and following.norm in ("a", "b", "c", "d") and not _is_article(sentence, at + 1):
        return f"{text}{following.norm.upper()}", low, high, at + 1
    return text, low, high, last


def _is_article(sentence: Sentence, at: int) -> bool:
    """Whether "a" is an article: a small letter, and a word without a vowel at its head follows in the same phrase
    ("three A open fracture" has a letter)."""
    if sentence.tokens[at].text != "a" or at + 1 >= len(sentence.tokens):
        return False
    following = sentence.tokens[at + 1]
    return not following.punctuation and following.norm[:1] not in "aeiou"


def _one(norm: str) -> tuple[str, int | None] | None:
    if norm in _ROMAN:
        return norm.upper(), _ROMAN[norm]
    if norm in _LETTERS:
        return norm.upper(), None
    if len(norm) in (2, 3, 4) and norm[:-1] in _ROMAN and norm[-1] in "abce":
        number = _ROMAN[norm[:-1]]
        return (f"{number}E" if norm[-1] == "e" else norm.upper()), number
    if len(norm) == 2 and norm[0] in "abc" and norm[1] in "123":
        return norm.upper(), None  # of fractures: "AO C1"
    if len(norm) == 2 and norm[0].isdigit() and norm[1] in "abce":
        return norm[0] + norm[1].upper(), int(norm[0])
    return None
