"""What is said beside a dose that may tell that it was not given: a limit, a dose of others, one that was lost, that is
for later, that only stood ready, or of which a part was given (grammars/dose_talk.toml). A part of `unsure.py`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache

from pipeline import clauses, people
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.mentions import choices, folded, split_phrase
from pipeline.records import Fact, Sentence
from pipeline.rows import DoseTalk
from pipeline.unsure_states import DENIALS, Place

KINDS = frozenset({
    "medication", "medication_dose", "medication_volume", "medication_concentration", "medication_rate",
})  # fmt: skip
OF_ONE_UNDONE = "its drug was taken as not given here, and this amount as given"
_OF = {kind: "dose" for kind in KINDS} | {kind: "seen" for kind in ("finding", "complication", "diagnosis")} | {
    kind: "done"
    for kind in ("procedure", "act", "drain", "device", "device_count", "device_size", "tourniquet", "specimen")
} | {kind: "put" for kind in ("injection_volume", "product_volume", "draw", "irrigation_in", "fluid_in")}
ALL = frozenset(_OF)
_TOLD_PLAINLY = KINDS | {"procedure", "device", "device_count", "device_size", "drain", "specimen"}
_GIVEN = _words(
    "given gave giving injected infiltrated administered instilled received put placed went got used loaded delivered "
    "deposited hung performed done completed carried inserted implanted made taken did"
)
_STOPS = frozenset({".", ";", "?", "!"})
# Another thing ends what is said of a drug.
_OTHERS = frozenset({
    "procedures", "acts", "devices", "drains", "dressings", "sutures", "specimens", "anaesthesia", "tourniquet",
    "positions", "findings", "closures", "counts", "complications", "diagnoses", "aftercare", "fluids", "injectates",
    "drugs",
})  # fmt: skip
_OF_IT = ("inject", "opening")  # acts on the drug itself
_SEEN_TABLES = frozenset({"findings", "diagnoses", "complications"})
_LONGEST, _CLOSE = 16, 3  # tokens


def undone(facts: Iterable[Fact]) -> frozenset[str]:
    """Groups of which the drug was not given here, so that no amount of it was either."""
    return frozenset(
        fact.group for fact in facts if fact.kind == "medication" and fact.group is not None
        and (fact.status, fact.certainty) != ("performed", "affirmed")
    )  # fmt: skip


_TO_NUMBER = 3  # tokens


def of_the_one_before(place: Place, bare: frozenset[int]) -> str | None:
    """ "Enoxaparin from tonight forty milligrams apixaban had been stopped": a number before its drug, where the drug
    before the number has none. `bare`: the last words of the drugs that have none."""
    if place.number is None or place.number != place.first or place.first == place.last:
        return None
    for mention in place.sentence.mentions:
        if mention.table != "drugs" or not 0 < place.first - mention.last <= _TO_NUMBER + 1:
            continue
        between = place.sentence.tokens[mention.last + 1 : place.first]
        last = place.sentence.tokens[mention.last].last
        if last in bare and not any(token.punctuation or token.norm in _JOINS for token in between):
            return f"it may be of what is said right before it ('{place.said(place.first - 1)}')"
    return None


_JOINS = _words("and with plus in of or then")


@lru_cache(maxsize=4)
def _index(grammar: Grammar) -> dict[str, list[tuple[tuple[str, ...], DoseTalk]]]:
    """First folded word -> [(all folded words, row)], longest first."""
    index: dict[str, list[tuple[tuple[str, ...], DoseTalk]]] = {}
    for row in grammar.table("dose_talk", DoseTalk).values():
        for phrase in row.say:
            for said in choices(phrase):
                if words := tuple(split_phrase(said)):
                    index.setdefault(words[0], []).append((words, row))
    for entries in index.values():
        entries.sort(key=lambda entry: (-len(entry[0]), entry[1].id, entry[0]))
    return index


def hits(sentence: Sentence, grammar: Grammar) -> list[tuple[DoseTalk, int, int]]:
    """Row, first and last token of what is said so, the longest at a place, but for what a longer name holds."""
    held: list[tuple[DoseTalk, int, int]] | None = sentence.memo.get("dose_talk")
    if held is not None:
        return held
    found: list[tuple[DoseTalk, int, int]] = []
    index, words = _index(grammar), folded(sentence)
    for first, word in enumerate(words):
        said: set[str] = set()
        for phrase, row in index.get(word, ()):
            last = first + len(phrase) - 1
            if row.of in said or words[first : last + 1] != phrase or any(
                one.of == row.of and low <= first and last <= high for one, low, high in found
            ):
                continue
            said.add(row.of)
            if not _leads_to(sentence, phrase, last) and not any(
                m.first <= first and last <= m.last and m.last - m.first > last - first for m in sentence.mentions
            ):
                found.append((row, first, last))
    sentence.memo["dose_talk"] = found
    return found


def _leads_to(sentence: Sentence, phrase: tuple[str, ...], last: int) -> bool:
    """ "Flaps up to the collarbone": a way, and no limit."""
    behind = sentence.tokens[last + 1 : last + 2]
    return phrase == ("up", "to") and bool(behind) and behind[0].norm in ("the", "his", "her", "where", "this", "that")


def doubts(fact: Fact, place: Place, grammar: Grammar) -> Iterator[str]:
    """Why a dose that was taken for given may not have been, or a finding not seen."""
    sentence = place.sentence
    first, last = _statement(fact.name, place, _OTHERS)
    if fact.kind in KINDS:
        yield from _amount(place, first, last)
        if (order := _order(place)) is not None and not _is_given(place, first, last, order, order):
            yield f"'{place.sentence.tokens[order].text}' orders what comes afterwards: it may be for later"
    if _OF[fact.kind] != "seen" and (
        condition := _condition(place, *_statement(fact.name, place, _OTHERS - _SEEN_TABLES))
    ):
        yield f"'{condition}' is said of it: it may be for later or on a condition"
    for row, low, high in hits(sentence, grammar):
        if row.of != _OF[fact.kind] or low < first or high > last:
            continue
        ahead = low > place.last
        apart = _apart(sentence, place.last, low) if ahead else _apart(sentence, high, place.first)
        if apart > row.near or row.way == ("before" if ahead else "behind"):
            continue
        if apart > _CLOSE and clauses.parted(sentence, place.last if ahead else place.first, low):
            continue  # of what another clause tells
        if row.settled and row.of != "seen" and _is_given(place, first, last, low, high) and (
            not ahead or not _another_given(place, low)
        ):
            continue
        yield f"'{' '.join(token.text for token in sentence.tokens[low : high + 1])}' is said of it: {row.reason}"
        return
    if fact.kind in _TOLD_PLAINLY and (told := unread(fact, place)):
        said = place.said(min(told[0] + 1, len(sentence.tokens) - 1))
        yield f"'{said}' is said of it, and nobody said that it was {'given' if fact.kind in KINDS else 'done'}"


def _another_given(place: Place, until: int) -> bool:
    """ "80 mg of kenalog opened, he got 40, the rest binned": what was given has a number of its own behind it."""
    return any(
        token.quantity is not None and place.norm(at - 1) in _GOT
        for at, token in enumerate(place.sentence.tokens[:until]) if at > place.last + 1
    )


_GOT = _words("got gave had given used injected received getting put")


def _worn_before(place: Place) -> int | None:
    """ "Sling one week paracetamol 650 mg and ibuprofen 400": in speech without marks, the time before the drugs."""
    tokens, at = place.sentence.tokens, place.first - 1
    drugs = {n for m in place.sentence.mentions if m.table == "drugs" for n in range(m.first, m.last + 1)}
    while at > 0 and (at in drugs or tokens[at].norm in ("and", "plus", "with") or (
        (one := tokens[at].quantity) is not None and one.dimension != "time"
    )):  # fmt: skip
        at -= 1
    time = tokens[at].quantity if at > 0 else None
    worn = any(m.table in _WORN and 0 < at - m.last <= _TO_VERB for m in place.sentence.mentions)
    marked = any(token.punctuation for token in tokens)
    return at if worn and not marked and time is not None and time.unit in ("d", "wk", "mo") else None


_WORN = frozenset({"dressings", "aftercare"})
_HOME = _words("home discharge discharged")
_DURING = _words("induction during before closure skin incision now already intravenously iv")


def _order(place: Place) -> int | None:
    """ "Catheter out tomorrow, enoxaparin 40 mg, clinic 6 weeks": an order before it in the sentence, behind a mark."""
    tokens = place.sentence.tokens
    if (worn := _worn_before(place)) is not None:
        return worn
    if _DURING & {token.norm for token in tokens} or any(
        token.quantity is not None and token.quantity.form == "clock" for token in tokens
    ):
        return None
    orders = [m.first for m in place.sentence.mentions if m.table == "aftercare" and m.last < place.first]
    orders += [0] if tokens[0].norm in _HOME else []
    return next((at for at in orders if any(token.punctuation for token in tokens[at : place.first])), None)


_WHEN = _words("once when until after unless")
_IS = _words("is are gone allows settles improves heals goes comes needs wants eats wakes recurs persists fails")
_WAS = _words("was were had did came went we i")
_TO_VERB = 6  # tokens


def _condition(place: Place, first: int, last: int) -> str:
    """ "Once the swelling is down": what has to come first, told in the present; "" for none."""
    for at in range(first, last + 1):
        if place.norm(at) in _WHEN and not place.first <= at <= place.last:
            for then in range(at + 1, min(last, at + _TO_VERB) + 1):
                if place.norm(then) in _WAS or place.sentence.tokens[then].punctuation:
                    break
                if place.norm(then) in _IS:
                    return " ".join(token.text for token in place.sentence.tokens[at : then + 1])
    return ""


def _amount(place: Place, first: int, last: int) -> Iterator[str]:
    """Why the amount itself may not be what was given: a bound, or a share of it behind."""
    sentence, bound = place.sentence, _bound(place)
    if bound is not None and not _is_given(place, first, last, bound, bound):
        yield f"'{sentence.tokens[bound].text}' is said of it: it may be a limit, and not what was given"
    if (share := _share(place, last)) is not None:
        yield f"'{sentence.tokens[share].text}' is said of it: it may not all have been given"


def _apart(sentence: Sentence, low: int, high: int) -> int:
    """How many tokens stand between two, but for numbers and "of"."""
    return sum([token.quantity is None and token.norm != "of" for token in sentence.tokens[low + 1 : high]])


def _bound(place: Place) -> int | None:
    """The token of a number that is a bound ("not more than 40 mg"), of a dose or beside its drug."""
    near = range(max(0, place.first - 4), min(len(place.sentence.tokens), place.last + 2))
    bounds = (at for at in near if (one := place.sentence.tokens[at].quantity) is not None
              and one.comparator in ("<", "<=") and one.dimension != "time")  # fmt: skip
    return next(bounds, None)


def _share(place: Place, last: int) -> int | None:
    """The token of a share of it behind a dose: "drawn up, two thirds given"."""
    near = range(place.last + 1, min(last, place.last + 6))
    return next((at for at in near if (one := place.sentence.tokens[at].quantity) is not None and one.unit is None
                 and one.form == "fraction" and place.norm(at + 1) in _GIVEN), None)  # fmt: skip


def _statement(name: str | None, place: Place, ends: frozenset[str]) -> tuple[int, int]:
    """First and last token of what is said of a thing: up to a full stop, or another thing (of the tables `ends`)."""
    tokens = place.sentence.tokens
    first, last = max(0, place.first - _LONGEST), min(len(tokens) - 1, place.last + _LONGEST)
    for at in range(place.first - 1, first - 1, -1):
        if tokens[at].norm in _STOPS:
            first = at + 1
            break
    for at in range(place.last + 1, last + 1):
        if tokens[at].norm in _STOPS:
            last = at - 1
            break
    for mention in place.sentence.mentions:
        own = mention.table == "drugs" and mention.id == name or mention.id.startswith(_OF_IT)
        if own or mention.table not in ends or mention.last >= place.first and mention.first <= place.last:
            continue
        if mention.last < place.first:
            first = max(first, mention.last + 1)
        elif mention.first > place.last:
            last = min(last, mention.first - 1)
    return first, last


def _is_given(place: Place, first: int, last: int, low: int, high: int) -> bool:
    """Whether a word of giving, not denied, stands in the statement outside the words low..high."""
    for at in range(first, last + 1):
        if place.norm(at) in _GIVEN and not low <= at <= high:
            if DENIALS.isdisjoint(place.norm(one) for one in range(max(first, at - 3), at)):
                return True
    return False



_AROUND = 5  # tokens to either side
# Verbs of the present and of what might be, and people who do not give: a dose that was given is told without them.
_OTHERWISE = _words(
    "is are has gets get gives wants want needs need goes comes makes helps supports says has would could should "
    "can may might do does must shall where who did has equals had have"
)
_MIGHT = _words("would could can may might should wants needs gets they somebody someone others nobody who")
_PEOPLE = _words("she he they you who somebody someone nobody it them her his their my your me")


def unread(fact: Fact, place: Place) -> list[int]:
    """Tokens close to a dose, in its statement, that tell of something else than that it was given."""
    first, last = _statement(fact.name, place, _OTHERS)
    if _is_given(place, first, last, -1, -1):
        return []
    near = [*_close(place, first, -1), *_close(place, last, 1)]
    if any(_is_done(place, at) for at in near):
        return []
    words = _OTHERWISE | _PEOPLE if fact.kind in KINDS else _MIGHT
    told = [at for at in near if place.norm(at) in words and not place.is_named(at)]
    told += [at for at in (place.last + 1,) if fact.kind in KINDS and at in near and _is_of_now(place, at)]
    whom = min((person.first for person in people.persons(place.sentence)), default=len(place.sentence.tokens))
    return [at for at in told if not _says_again(place, at) and not place.last < whom < at]  # "on Mrs Orr who is 41"


def _close(place: Place, end: int, step: int) -> Iterator[int]:
    """The tokens next to a thing, as far as to a mark."""
    start = place.last + 1 if step > 0 else place.first - 1
    for at in range(start, end + step, step):
        if abs(at - start) >= _AROUND or place.sentence.tokens[at].punctuation:
            return
        yield at


def _is_of_now(place: Place, at: int) -> bool:
    """ "Kenalog forty sounds right": a verb of the present right behind it, no noun of its own."""
    norm = place.norm(at)
    verb = norm.endswith("s") and not norm.endswith(("ss", "us", "is", "ous")) and len(norm) > _SHORT_WORD
    return verb and not place.is_named(at) and place.is_content(at) and place.norm(at + 1) not in (".", ",", "")


_SHORT_WORD = 4  # letters


def _is_done(place: Place, at: int) -> bool:
    """ "Was infused", "had been applied", "is in", "has gone in": a verb that no list holds tells of what was done."""
    before, norm = place.norm(at - 1), place.norm(at)
    if norm == "in":
        after = place.sentence.tokens[at + 1] if at + 1 < len(place.sentence.tokens) else None
        return after is None or after.punctuation or after.norm in ("now", "and", "then", "with")
    been = before == "been" and place.norm(at - 2) in ("had", "having")
    return norm.endswith("ed") and (before in ("was", "were", "then") or been)


def _says_again(place: Place, at: int) -> bool:
    """ "That is ten percent", "which makes forty": the amount in other words."""
    behind = place.sentence.tokens[at + 1].quantity if at + 1 < len(place.sentence.tokens) else None
    return place.norm(at) in ("is", "makes", "equals", "are") and behind is not None


