"""Facts that the words around them could turn: a number that stands as near to something else, a "not" or a plan that
may be of what was said before, a thing of which nobody said that it was done.

Everything else in the pipeline decides; this says where a decision was a near thing, so that the surgeon can settle it.
A doubt is given for how the words stand, never for what they are about, and told quietly (`checks/doubtful.py`): most
such facts are wrong in narrations that the reader has not seen before, few in those that it reads well. Which forms are
worth a doubt was counted (DEVELOPERS.md, "Where the reader is likely wrong"); the limits are tuned on those counts.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from pipeline import changed_plans, class_words, cues, dose_talk, kin, sidewords, unsure_states
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.records import Fact, Reading, Sentence, replace
from pipeline.unsure_states import AND, DENIALS, OF, Place

LEAD = "the words around it leave it open; "

_STREAM, _FEW = 40, 3  # tokens of a sentence with fewer marks than that: speech without full stops
_MARKS = frozenset({".", ",", ";"})
_STOPS = frozenset({".", ";", ":"})
_ENDS = _MARKS | frozenset("():!?")

_PREPOSITIONS = _words(
    "at to for from into without below above under over through on off after before then so which where that until "
    "beyond behind"
)
_VERBS = _words(
    "was were is are had has have went came gave goes took taken pulled pushed moved advanced turned shifted removed "
    "left resected opened closed placed put used seen found stapled distended filled showed inserted given injected "
    "aspirated drawn"
)
_SIDES = _words("left right l r lt rt re le od os ou both bilat bilateral bilaterally")
_EACH = _words("side sides total together altogether")

# Orders for afterwards are planned, and so told; what hangs on an "if" is too.
_ORDERS = frozenset({"aftercare", "follow_up", "next_step", "warning_sign", "disposition", "prophylaxis"})
_VOLUMES = frozenset({
    "fluid_in", "fluid_out", "irrigation_in", "irrigation_out", "blood_loss", "injection_volume", "medication_volume",
    "product_volume", "discarded_volume", "harvest_total",
})  # fmt: skip
_AMOUNTS = frozenset({"medication_dose", "medication_volume", "medication_concentration", "medication_rate"})
_GIVEN_KINDS = _AMOUNTS | {"medication"}
_DEPTHS = frozenset({"measurement", "harvest_depth", "injection_depth"})
_THINGS = frozenset({"procedure", "medication", "device", "drain", "act"})
_OF_A_PERSON = frozenset({"diagnosis", "procedure", "finding", "complication"})


def doubt(facts: Sequence[Fact], reading: Reading, grammar: Grammar) -> list[Fact]:
    """The facts, those that stood as sure with a doubt where their words leave them open. Pure."""
    sentences = [one for one in reading.sentences if one.tokens]
    begins = [one.tokens[0].first for one in sentences]
    stands = [_Words.of(one) for one in sentences]
    dosed = {fact.group for fact in facts if fact.kind in _AMOUNTS and fact.group is not None}
    undone = dose_talk.undone(facts)
    bare = frozenset(one.evidence.last for one in facts if one.kind == "medication" and one.group not in dosed)
    denied, drugs = class_words.withdrawn(reading, grammar), class_words.denied_drugs(facts, reading)
    told: list[Fact] = []
    for fact in facts:
        at = bisect_right(begins, fact.evidence.first) - 1
        unread = fact.doubts or fact.alternatives or at < 0
        place = None if unread else _place(fact, sentences[at], stands[at], not at)
        reason = None if place is None else next(_reasons(fact, place, fact.group in dosed, grammar), None)
        if reason is None and place is not None and fact.kind in _AMOUNTS:
            reason = dose_talk.of_the_one_before(place, bare)
        if reason is None and place is not None and fact.group in undone and fact.kind in _AMOUNTS and fact.done:
            reason = dose_talk.OF_ONE_UNDONE
        if reason is None and place is not None and fact.kind in dose_talk.KINDS and fact.done:
            reason = class_words.doubt(fact, denied, drugs, grammar)
        told.append(fact if reason is None else replace(fact, doubts=(LEAD + reason,)))
    return told


class _Words(NamedTuple):
    """First and last word ids of the tokens of a sentence, and whether it is a stream of speech."""

    firsts: list[int]
    lasts: list[int]
    stream: bool

    @classmethod
    def of(cls, sentence: Sentence) -> _Words:
        tokens = sentence.tokens
        stream = len(tokens) > _STREAM and sum([token.norm in _MARKS for token in tokens]) < _FEW
        return cls([token.first for token in tokens], [token.last for token in tokens], stream)


def _place(fact: Fact, sentence: Sentence, words: _Words, opens: bool) -> Place | None:
    tokens, told = sentence.tokens, fact.evidence
    low, end = bisect_left(words.lasts, told.first), bisect_right(words.firsts, told.last)
    here = [at for at in range(low, end) if not tokens[at].punctuation]
    if not here:
        return None
    first, last, number = here[0], here[-1], None
    if fact.numeric:
        amount = (fact.value, fact.low, fact.high)
        own = [at for at in here if (one := tokens[at].quantity) is not None
               and (one.value, one.low, one.high) == amount]  # fmt: skip
        if len(own) > 1:
            own = [at for at in own if at in (first, last)]
        number = own[-1] if own else None
    return Place(sentence, first, last, number, words.stream, opens)


def _reasons(fact: Fact, place: Place, dosed: bool, grammar: Grammar) -> Iterator[str]:
    done = fact.done
    if not done and fact.kind not in _ORDERS:
        yield from unsure_states.open_state(fact, place)
    if fact.numeric:
        yield from _number(fact, place)
    if done:
        yield from _turned(fact, place)
        if fact.kind in dose_talk.ALL:
            yield from dose_talk.doubts(fact, place, grammar)
        yield from _unsaid(fact, place, dosed)
    if fact.laterality in ("left", "right"):
        yield from _side(fact, place, grammar)


# --- numbers ------------------------------------------------------------------------------------------------------

_APART, _FAR = 4, 12  # as `cues.gap` counts what lies between
_FROM = _words("from below above under beneath beyond off into")
_RELATION = _words(
    "too below above further beyond away apart short behind left back thick distal proximal lateral medial"
)


def _number(fact: Fact, place: Place) -> Iterator[str]:
    """A number that was put to a thing apart from it, though words right beside it are joined to it as well
    ("sphincterotomy 10 mm, balloon"), that tells a distance ("trocar 10 mm below the joint line"), or that stands far
    off behind a word that nothing here reads."""
    at, tokens = place.number, place.sentence.tokens
    if fact.kind == "measurement" and fact.name is None:
        if fact.unit == "%":
            yield "a share of what is not known here; it may be the strength of a drug"
        return
    if at is None or place.first == place.last:
        return
    if fact.kind not in _ORDERS and any(
        tokens[one].norm == "then" and tokens[one - 1].norm not in _VERBS for one in range(place.first, place.last)
    ):  # but "the tourniquet was then inflated to 250"
        yield "'then' stands between it and what it was put to; it may be of what came next"
        return
    if fact.kind in _DEPTHS and at < place.last and place.norm(at + 1) in _FROM:
        return  # "tip five millimetres from the bone": of both
    if at == place.first:
        between = _between(place, at, place.last)
        parts = _PREPOSITIONS | _VERBS | DENIALS
        parted = any(tokens[one].punctuation or tokens[one].norm in parts for one in between)
        if fact.kind == "device_size" and _may_count(fact, place, at):
            yield "it may be how many there were, and no size"
            return
        behind = tokens[at + 1].quantity  # "dilated to 7 mm 5.5 mm scope"
        again = fact.kind == "device_size" and behind is not None and behind.unit == fact.unit
        parted = parted and cues.gap(place.sentence, at, place.last) >= _APART and _is_joined(place, at - 1)
        if parted or again and place.norm(at - 1) == "to":
            yield f"it may be of what is said right before it ('{place.said(at - 1)}')"
            return
    elif at == place.last:
        between = _between(place, at, place.first)
        if ":" in (place.norm(at - 1), place.norm(at - 2)):
            return  # "How much went in? Nine litres.": asked and told
        if fact.kind == "device_size" and place.norm(at + 1) in _RELATION:
            yield f"it may be no size but a distance ('{tokens[at].text} {tokens[at + 1].text}')"
            return
    else:
        return
    if fact.kind in _VOLUMES and place.norm(at + 1) not in _EACH and (
        cues.gap(place.sentence, min(at, place.first), max(at, place.last)) >= _FAR
    ):
        known = _PREPOSITIONS | _VERBS | _SIDES | _EACH | _SORTS
        unread = [one for one in between
                  if place.is_content(one) and not place.is_named(one) and tokens[one].norm not in known]  # fmt: skip
        if unread:
            yield f"'{tokens[unread[0]].text}' stands between it and what it was put to; it may be of that"


_SORTS = frozenset("preservative free buffered viscous hyperbaric isobaric plain heavy sterile cold warm fresh".split())
_SEVERAL, _LONG = 6, 10  # things, and mm of a length


def _may_count(fact: Fact, place: Place, at: int) -> bool:
    """ "3 x 16 mm screws": three of them, or three millimetres thick."""
    tokens, value = place.sentence.tokens, fact.value
    length = tokens[at + 2].quantity if at + 2 < len(tokens) and tokens[at + 1].norm == "x" else None
    whole = value is not None and 1 < value <= _SEVERAL and not value % 1 and "." not in tokens[at].text
    long = length is not None and length.unit == "mm" and (length.value or 0) >= _LONG
    words = tokens[at].text.isdigit() and tokens[at + 1].text != "by" if long else False
    return whole and long and words and tokens[place.last].norm.endswith("s") and tokens[place.last].norm != "x"


def _between(place: Place, at: int, end: int) -> list[int]:
    """The tokens between a number and the far end of its evidence, without those of the thing that stands there."""
    step = 1 if end > at else -1
    thing = next((one for one in place.sentence.mentions if one.first <= end <= one.last), None)
    return [one for one in range(at + step, end, step) if thing is None or not thing.first <= one <= thing.last]


def _is_joined(place: Place, at: int) -> bool:
    """Whether a word that could own the number behind it stands here: no mark, no mere "about"."""
    if at < 0 or place.sentence.tokens[at].punctuation:
        return False
    joins = place.norm(at) in _PREPOSITIONS | _VERBS | OF | AND
    return joins or place.sentence.tokens[at].quantity is not None or place.is_content(at) or place.is_named(at)


# --- what nobody said to be done ----------------------------------------------------------------------------------

_TURNS = _words(
    "planned considered offered discussed intended refused declined withheld discarded unavailable "
    "omitted deferred postponed cancelled wanted requested ordered binned wasted thrown"
)


_ACROSS = _words("across from through into using with between up down by under over around")
_WOULD = _words("would could did")
_READIED = _words("opened prepared fetched")
_GIVEN = _words("done performed given injected used placed implanted inserted went instilled infiltrated")


def _is_given_then(place: Place, at: int) -> bool:
    """ "Ten millilitres was drawn up, six was injected": what was made ready was used then."""
    rest = [token.norm for token in place.sentence.tokens[at:]]
    return any(norm in _GIVEN and before not in DENIALS for before, norm in pairwise(rest))


_ASKS, _FOR_US = _words("give pass hand bring get fetch"), _words("me us")
_TO_THING = 3  # tokens


def _is_asked_for(place: Place) -> bool:
    """ "Give me the three oh vicryl"."""
    before = [place.norm(at) for at in range(max(0, place.first - _TO_THING), place.first)]
    return any(verb in _ASKS and after in _FOR_US for verb, after in pairwise(before))


_IMPLANTS = frozenset({"device", "device_count", "device_size"})
# What is said right behind an implant that did not stay; a set: one of these words.
_FITS = _words("fit hold bite seat go pass engage sit deploy lock")
_VERDICTS: tuple[tuple[frozenset[str], ...], ...] = (
    (_words("too"), _words("big large small long short wide narrow thick thin loose tight bulky prominent")),
    (_words("broke fell misfired missing replaced exchanged snapped sheared stripped loosened dislodged"),),
    (_words("pulled backed slipped cut came come"), _words("out through")),
    (_words("failed"), _words("to")),
    (_words("not"), _words("in"), _words("the"), _words("set tray box kit")),
    (_words("not"), _FITS),
    (_words("had has"), _words("to"), _words("come be"), _words("out removed changed exchanged replaced")),
    (_words("is"), _words("out")),
)  # fmt: skip
_WAS = _words("was were is are did does didn't doesn't proved turned out to be , then unfortunately")
_TRIED = _words("tried trial trialled trialed trialling")


def _verdict(place: Place) -> str:
    """The words behind an implant that tell that it did not stay, or before it that it was tried; "" for none."""
    tokens = place.sentence.tokens
    if place.norm(place.first - 1) in _TRIED or (
        place.norm(place.first - 1) in ("with", "of") and place.norm(place.first - 2) in _TRIED
    ):  # fmt: skip
        return "trial"
    for skipped in range(4):
        at = place.last + 1 + skipped
        for verdict in _VERDICTS:
            said = [token.norm for token in tokens[at : at + len(verdict)]]
            if len(said) == len(verdict) and all(word in one for word, one in zip(said, verdict, strict=True)):
                return " ".join(said)
        if place.norm(at) in ("didn't", "doesn't") and place.norm(at + 1) in _FITS:
            return f"{place.norm(at)} {place.norm(at + 1)}"
        if place.norm(at) not in _WAS:
            break
    return ""


def _turned(fact: Fact, place: Place) -> Iterator[str]:
    """A word right behind that mostly takes back what it is said of ("four bands planned; three placed"), and a
    relative beside an illness or an operation."""
    tokens = place.sentence.tokens
    if "or" in (place.norm(place.first - 1), place.norm(place.last + 1)):
        yield "'or' is said beside it: it may not have been this one"
        return
    if "?" in (place.norm(place.first - 1), place.norm(place.last + 1)):
        yield "a question mark stands beside it"
        return
    if _is_asked_for(place) and not _is_given_then(place, place.last + 1):
        yield "it was asked for; that it was used was not said"
        return
    if fact.kind in _GIVEN_KINDS and fact.role not in ("prime", "anticoagulant") and "syringe" in (
        place.norm(at) for at in range(place.last + 1, place.last + 5)
    ):
        yield "'syringe' is said behind it: it may not have been given"
        return
    if fact.kind in _IMPLANTS and fact.role == "implanted" and (verdict := _verdict(place)):
        yield f"'{verdict}' is said of it: it may not have stayed in"
        return
    if (fact.numeric and fact.kind != "discarded_volume") or fact.kind in _THINGS:
        for at in range(place.last + 1, min(place.last + (3 if fact.numeric else 4), len(tokens))):
            if any(old < at < new for old, new in changed_plans.outdone(place.sentence).items()):
                break  # "three anchors planned, two used"
            if tokens[at].norm in _STOPS or place.is_named(at) or tokens[at].norm == "#volume":
                break
            if tokens[at].norm == "not" and tokens[at - 1].norm in _WOULD and "avoided" not in (
                place.norm(at + 1), place.norm(at + 2)
            ):
                yield f"'{tokens[at - 1].text} not' is said behind it: it may not have been done so"
                return
            readied = tokens[at].norm in _READIED or (tokens[at].norm == "drawn" and place.norm(at + 1) == "up")
            across = tokens[at].norm == "thrown" and place.norm(at + 1) in _ACROSS  # "a screw was thrown across"
            meant = tokens[at].norm in _TURNS and not across and place.norm(at - 1) not in ("as", "than") and not (
                place.norm(at + 1) == "and" and _is_given_then(place, at)
            )
            if meant or (readied and not _is_given_then(place, at)):
                yield f"'{tokens[at].text}' is said behind it: it may not have been done so"
                return
    if fact.kind in _OF_A_PERSON:
        behind = () if fact.kind == "procedure" else tokens[place.last + 1 : place.last + 4]
        for token in (*tokens[max(0, place.first - 3) : place.first], *behind):
            if token.norm in kin.RELATIVES and not kin.is_child(tokens, token):
                yield f"'{token.text}' is said beside it: it may be of somebody else"
                return


_GIVES = _words("was were is are had has went gave given used placed injected with taken done the we i")
_DONE = _words(
    "done performed today completed carried using via under through over at in on to for of and with was were"
)
_PERSONS = _words("mister mr mr. mrs mrs. ms ms. miss missus dr dr. doctor patient pt report")


def _unsaid(fact: Fact, place: Place, dosed: bool) -> Iterator[str]:
    """A drug without any amount or word of giving that opens its statement ("salbutamol - asthma"), and an operation
    with a word behind it that nothing here reads ("arthroplasty mooted")."""
    tokens, first, last = place.sentence.tokens, place.first, place.last
    if fact.kind not in ("medication", "procedure") or fact.role is not None:
        return
    if first and not tokens[first - 1].punctuation:
        return
    behind = tokens[last + 1] if last + 1 < len(tokens) else None
    if fact.kind == "medication":
        if dosed or (behind is not None and behind.quantity is not None):
            return
        if any(one.table == "anaesthesia" for one in place.sentence.mentions):
            return  # "GA, remifentanil": what an anaesthetic is made of is given
        end = next((one for one in range(last + 1, len(tokens)) if tokens[one].norm in _ENDS), len(tokens))
        if not any(token.norm in _GIVES for token in tokens[first:end]):
            yield "named without an amount, and nobody said that it was given"
    elif not place.opens and behind is not None and place.is_content(last + 1) and not place.is_named(last + 1):
        if behind.norm not in _DONE | _PERSONS | _PREPOSITIONS | _SIDES:
            yield f"nobody said that it was done, and '{behind.text}' behind it may say otherwise"


# --- sides --------------------------------------------------------------------------------------------------------

_BESIDE, _CLOSE = 2, 6  # tokens
_BEFORE_TURN, _MORE = 8, 4  # tokens from a thing to a side behind it, and of what is told after that


def _may_open(place: Place, side: sidewords.Side) -> bool:
    """ "On the right a cyst of 13 mm on the left tourniquet ...": in speech without marks, where a side behind a thing
    may close its phrase or open the next one; not "into the left knee"."""
    tokens = place.sentence.tokens
    at = side.first - 1
    at -= tokens[at].norm in ("the", "his", "her")
    tied = at > place.last and tokens[at].norm in _PREPOSITIONS - {"on"}
    return side.first - place.last <= _BEFORE_TURN and len(tokens) - side.last > _MORE and not tied and not any(
        token.punctuation for token in tokens
    )


def _side(fact: Fact, place: Place, grammar: Grammar) -> Iterator[str]:
    """A side that was passed over for one farther off, or for one right behind that may open what follows ("left ovary
    had a cyst right ovary normal")."""
    found = sidewords.sides(place.sentence, grammar)
    within = [one for one in found if place.first <= one.first and place.number is not None and one.last < place.number]
    if within and within[-1].value not in (fact.laterality, "bilateral"):
        yield f"'{within[-1].value}' is said right before the number, and it was read as {fact.laterality}"
        return
    inside = [one.value for one in found if place.first <= one.first <= place.last]
    if fact.kind == "procedure" and len(set(inside)) == 1 and inside[0] not in (fact.laterality, None, "bilateral"):
        yield f"'{inside[0]}' is said in its own words, and it was read as {fact.laterality}"
    if not found or inside:
        return
    before = [one for one in found if one.last < place.first]
    behind = [one for one in found if one.first > place.last]
    if not before or before[-1].value in (None, fact.laterality, "bilateral"):
        return
    if any(token.norm in _MARKS for token in place.sentence.tokens[before[-1].last : place.first]):
        return
    ahead = bool(behind) and behind[0].value == fact.laterality
    if ahead and _may_open(place, behind[0]):
        yield f"'{behind[0].value}' behind it may be the side of what is told next"
        return
    if behind[0].first - place.last <= _BESIDE if ahead else place.first - before[-1].last <= _CLOSE:
        yield f"'{before[-1].value}' is said right before it, and it was read as {fact.laterality}"
