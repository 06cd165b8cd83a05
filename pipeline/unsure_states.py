"""States that may be of something else: what was taken as not done, planned, of the past or of somebody else by a word
that the sentence may have meant for another thing. A part of `unsure.py`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline import cues
from pipeline.clauses import word_set as _words
from pipeline.records import Fact, Scope, Sentence

DENIALS = _words("no not none without never")
OF = _words("of in with by")
AND = _words("and or but x plus")
LIGHT = _words(
    "a an the was were is are approximately about roughly around set up measured measuring estimated total totaling "
    "totalling size sized number as be been being it its only just say some per had has have came used using this that "
    "there then also another additional further we i he she they his her our both each all"
)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a fact stands: tokens first..last of a sentence. `number`: its own number, if it has one there; `stream`:
    in speech without full stops; `opens`: in the first sentence, which names the operation."""

    sentence: Sentence
    first: int
    last: int
    number: int | None
    stream: bool
    opens: bool

    def norm(self, at: int) -> str:
        """The norm of a token, "" outside the sentence."""
        return self.sentence.tokens[at].norm if 0 <= at < len(self.sentence.tokens) else ""

    def is_named(self, at: int) -> bool:
        """Whether a phrase of the grammars stands at a token."""
        return any(one.first <= at <= one.last for one in self.sentence.mentions)

    def is_content(self, at: int) -> bool:
        """Whether a word with a meaning of its own stands at a token."""
        token = self.sentence.tokens[at]
        return token.norm[:1].isalpha() and token.quantity is None and token.norm not in LIGHT | OF | AND

    def said(self, at: int) -> str:
        """What is said up to a token, in up to three words."""
        return cues.words(self.sentence, at - 2, at)


_STATUS = {"planned": "planned", "conditional": "hanging on a condition", "historical": "of the past",
           "other_person": "of somebody else", "performed": "done"}  # fmt: skip


def open_state(fact: Fact, place: Place) -> Iterator[str]:
    """A state that may be of something else: two at once, one of an amount in speech without full stops (what is not
    given has none, as a rule), one whose cue stands before other things."""
    state = {"negated": "not done", "suspected": "suspected only"}.get(fact.certainty) or _STATUS[fact.status]
    scope = _scope(place)
    if _is_double(fact, place):
        yield f"taken as {state} and as {_STATUS[fact.status]}; one of the two may be of something else"
    elif fact.kind == "position" and fact.certainty == "negated":
        yield "taken as not so; it may be what took the place of another position"
    elif _is_ordered(fact, place):
        return
    elif _has_amount(fact, place, scope):
        yield f"taken as not given, though an amount is told ('{place.sentence.tokens[place.last + 1].text}')"
    elif fact.certainty == "negated" and fact.kind in _SEEN and (told := _dealt_with(place)):
        yield f"taken as not there, though '{told}' is said of it"
    elif scope is not None and _is_by_comma(fact, place, scope):
        yield f"only a comma joins it to what '{place.sentence.tokens[scope.first].text}' denies; it may be there"
    elif _is_denied_there(fact, place):
        if place.number is not None and place.number == place.first < place.last and place.is_named(place.first - 1):
            yield f"it may be of what is said right before it ('{place.said(place.first - 1)}')"
    elif fact.numeric:
        behind = scope is not None and place.first - scope.first <= 1 and scope.last > place.last
        if (place.stream and not behind) or (fact.certainty == "negated" and scope is None):
            yield f"taken as {state} by words that may be of {_other(place, scope)}"
    elif place.stream and (
        (fact.certainty == "negated" and (scope is None or _opens_others(place, scope)))
        or fact.status == "conditional"
        or (fact.status == "planned" and scope is not None and not _is_planned_there(place))
    ):
        yield f"taken as {state} by words that may be of {_other(place, scope)}"


_SEEN = frozenset({"finding", "complication", "diagnosis", "postop_diagnosis"})
_MENDED = _words("repaired sutured closed treated oversewn patched stitched resected excised debrided shaved removed "
                 "reduced ligated coagulated cauterised cauterized drained reattached fixed")  # fmt: skip
_WERE = _words("was were is are")
_TO_MENDED, _TO_SIZE = 10, 3  # tokens


def _dealt_with(place: Place) -> str:
    """What is told of a thing that has a size or was mended, in words ("of three millimetres", "was repaired"); "" for
    nothing: what is not there has neither."""
    tokens = place.sentence.tokens
    for at in range(place.last + 1, min(place.last + 1 + _TO_MENDED, len(tokens))):
        quantity = tokens[at].quantity
        if tokens[at].punctuation or place.is_named(at) and at > place.last + _TO_SIZE:
            return ""
        if quantity is not None and quantity.dimension == "length" and quantity.comparator is None and (
            place.norm(at - 1) == "of" and at <= place.last + _TO_SIZE
        ):
            return f"of {tokens[at].text}"
        if tokens[at].norm in _WERE:  # "no loose bodies were removed" tells of what was not done
            denied = {place.norm(one) for one in range(place.first - 2, place.first)} & DENIALS
            mended = place.norm(at + 1) in _MENDED and not denied
            return f"{tokens[at].norm} {tokens[at + 1].norm}" if mended else ""
    return ""


def _scope(place: Place) -> Scope | None:
    """The scope that gave a fact its state: the narrowest that holds its number, or its first word."""
    at = place.first if place.number is None else place.number
    over = [one for one in place.sentence.scopes if one.first <= at <= one.last]
    return min(over, key=lambda one: one.last - one.first, default=None)


def _opens_others(place: Place, scope: Scope) -> bool:
    """Whether a scope ends with the fact and has another named thing before it ("no catheter tranexamic acid")."""
    return scope.last <= place.last and any(
        scope.first < one.first and one.last < place.first for one in place.sentence.mentions
    )


def _other(place: Place, scope: Scope | None) -> str:
    """What else a state may be of: the nearest other thing that its scope holds, in quotes."""
    if scope is not None:
        for one in sorted(place.sentence.mentions, key=lambda one: abs(one.first - place.first)):
            apart = one.last < place.first or one.first > place.last
            if apart and scope.first <= one.first and one.last <= scope.last and one.table != "sides":
                return f"'{cues.words(place.sentence, one.first, one.last)}'"
    return "something else"


def _is_double(fact: Fact, place: Place) -> bool:
    """Two states at once, but for "?arthroplasty if still sore" and "no previous operations"."""
    if fact.status == "performed" or fact.certainty == "affirmed":
        return False
    if fact.certainty == "suspected" and fact.status in ("planned", "conditional"):
        return False
    return fact.kind != "history" or place.norm(place.first - 1) not in DENIALS


def _has_amount(fact: Fact, place: Place, scope: Scope | None) -> bool:
    """ "Not needed cefazolin two grams": a drug that is denied by words before it, with an amount behind it."""
    behind = place.sentence.tokens[place.last + 1 : place.last + 2]
    return (
        fact.kind == "medication" and fact.certainty == "negated" and scope is not None and scope.last <= place.last
        and bool(behind) and behind[0].quantity is not None
    )  # fmt: skip


_LISTS = _words("or nor and neither")
_FOUND = frozenset({"finding", "complication", "diagnosis"})


def _is_by_comma(fact: Fact, place: Place, scope: Scope) -> bool:
    """ "No tear, synovitis": a list, or a denial and what was there. A list that ends in "or" is one."""
    before = place.first - 1 - (place.norm(place.first - 1) in ("a", "an", "the"))
    if fact.kind not in _FOUND or fact.certainty != "negated" or place.norm(before) != ",":
        return False
    if scope.first >= before or place.norm(scope.first) not in DENIALS:
        return False
    for at in range(scope.first, len(place.sentence.tokens)):
        if place.norm(at) in _LISTS:
            return False
        if place.norm(at) in (".", ";"):
            break
    return True


_SOON = 9  # tokens
_UNDONE = DENIALS | _words(
    "nil nothing dropped discarded thrown binned wasted contaminated withheld omitted unused returned drawn prepared "
    "opened"
)


def _is_denied_there(fact: Fact, place: Place) -> bool:
    """ "Not explored", "flucloxacillin one gram was drawn up and not given": the denial stands right before it, or
    behind it with no other thing between."""
    if fact.certainty != "negated":
        return False
    if place.norm(place.first - 1) in DENIALS:
        return True
    for at in range(place.last + 1, min(place.last + _SOON, len(place.sentence.tokens))):
        if place.norm(at) in _UNDONE:
            return True
        if place.norm(at) in (".", ";") or place.sentence.tokens[at].quantity is not None or place.is_named(at):
            return False
    return False


_PLANS = _words(
    "planned plan plans consent consented wanted wants wish wished booked listed intended discussed considered"
)


def _is_planned_there(place: Place) -> bool:
    """ "A cholangiogram had been planned", "she wanted sterilisation": the plan is said right beside it."""
    behind = range(place.last + 1, min(len(place.sentence.tokens), place.last + 5))
    before = range(place.first - 1, max(-1, place.first - 4), -1)
    for way in (behind, before):
        for at in way:
            if place.norm(at) in _PLANS:
                return True
            if place.is_named(at):
                break
    return False


_OFTEN = _words(
    "daily times tds bd od qds tid bid prn nightly weekly hourly tonight tomorrow needed a every for until once twice "
    "three four from"
)


def _is_ordered(fact: Fact, place: Place) -> bool:
    """ "Ibuprofen 400 mg three times a day", "no aspirin for two weeks": how often and how long is told of orders."""
    behind = place.sentence.tokens[place.last + 1 : place.last + 4]
    return fact.status == "planned" and fact.kind.startswith("medication") and any(
        token.norm in _OFTEN or (token.quantity is not None and token.quantity.dimension == "time") for token in behind
    )
