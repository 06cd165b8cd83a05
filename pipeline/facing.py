"""Which way a bare "no" looks in speech without verbs and marks: "drain no tourniquet none", "notchplasty no drain".

A "no" behind a thing of which nothing else is told answers it, where the thing behind the "no" is told by itself (with
its number, its own "none"). In "synovectomy no bone block no button" it may be read both ways: such a chain denies
what stands in its middle for sure; of its two ends one is denied and nobody can tell which.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline import clauses
from pipeline.clauses import word_set as _words
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence

EITHER = "a “no” stands between this and another thing; which of the two it denies cannot be told"

# What is answered by yes or no: nobody says "drain" and nothing more of one that there is.
_ASKED = frozenset({"drains", "tourniquet", "specimens"})
_ASKED_NAMES = _words("conversion complication complications")
_DENIABLE = frozenset({"procedures", "acts", "anaesthesia", "devices", "drugs", "injectates", "general", "dressings",
                       "guidance", "fluids", "diagnoses", "findings", "prophylaxis", "approaches",
                       "sutures"})  # fmt: skip
_THINGS = _ASKED | _DENIABLE | {"complications"}
_SEEN = frozenset({"diagnoses", "findings", "complications"})
_COUNTED = frozenset({"devices", "sutures", "drains", "specimens", "dressings"})
_OF_AMOUNTS = {"drugs": ("mass", "volume", "amount", "fraction", ""), "injectates": ("volume",),
               "tourniquet": ("pressure", "time", "")}  # fmt: skip
_OWN_ANSWER = _words("none nil no not never yes omitted declined refused withheld deferred cancelled skipped")
_LEADS = _words("the a an any no without of in on at to into with by for from and or other further more")
_FAR = 3  # words from a "no" to what it may deny
_ENDS = frozenset({"-", "–", "—", ".", ";"})


def looks_back(sentence: Sentence, at: int) -> bool:
    """Whether the bare "no" at a token answers the thing right before it, for all that can be told."""
    return _facing(sentence).get(at) in ("back", "either-back")


def looks_ahead(sentence: Sentence, at: int) -> bool:
    """Whether the bare "no" at a token may deny what follows it."""
    return _facing(sentence).get(at) != "back"


def _facing(sentence: Sentence) -> dict[int, str]:
    """For each bare "no": "back", "ahead", "either" (ahead, unsure) or "either-back" (both, unsure)."""
    known: dict[int, str] | None = sentence.memo.get("facing")
    if known is None:
        known = sentence.memo["facing"] = _decided(sentence)
    return known


def _decided(sentence: Sentence) -> dict[int, str]:
    tokens = sentence.tokens
    bare = [at for at, token in enumerate(tokens) if token.norm == "no" and token.quantity is None]
    found: dict[int, str] = {}
    chain: list[int] = []
    for at in bare:
        before = _thing_before(sentence, at)
        if before is None:
            chain = []
            continue
        chain = [*chain, at] if chain and _adjoins(sentence, chain[-1], before) else [at]
        sides = _sides(sentence, chain, found)
        found.update(zip(chain, sides, strict=True))
    return found


def _adjoins(sentence: Sentence, last: int, thing: Mention) -> bool:
    """Whether nothing but a word of its own stands between a "no" and a thing behind it."""
    between = sentence.tokens[last + 1 : thing.first]
    if any(m.last == thing.first - 1 and m.first > last and m.table in _THINGS for m in sentence.mentions):
        return False  # "no adhesions uterus exteriorised no": another thing
    return 0 <= thing.first - last - 1 <= 1 and not any(
        token.punctuation or token.quantity is not None or token.norm in _LEADS for token in between
    )


def _sides(sentence: Sentence, chain: Sequence[int], found: dict[int, str]) -> list[str]:
    """Which way each "no" of a chain looks: all of them the same, as far as it can be told."""
    tokens, last = sentence.tokens, chain[-1]
    first = _thing_before(sentence, chain[0])
    if first is None or not _may_be_answered(sentence, first, found):
        return ["ahead"] * len(chain)
    if last + 1 >= len(tokens) or tokens[last + 1].norm in _ENDS:
        return ["back"] * len(chain)
    if tokens[last + 1].punctuation:
        return ["ahead"] * len(chain)
    behind = _thing_behind(sentence, last)
    asked = first.table in _ASKED or tokens[first.last].norm in _ASKED_NAMES
    if _is_told(sentence, last, behind):
        return ["back"] * len(chain)
    answered = asked or first.table == "anaesthesia"
    if behind is not None and behind.table == "sites" and clauses.is_told(sentence, behind.last + 1) and answered:
        return ["back"] * len(chain)  # "drain no cartilage intact", "ipack no posterior capsule injected"
    if behind is not None and behind.table in _DONE and first.table in _DONE and _is_done(sentence, first, behind):
        return ["back"] * len(chain)
    if behind is not None and behind.table == "sites" and _is_well(sentence, behind.last + 1):
        return ["back"] * len(chain)  # "uterus exteriorised no ovaries normal": nobody denies that a part is well
    if first.table == "sites":
        return ["back"] * len(chain)  # "patella yes trochlea no PRP ..."
    if not _is_bare(sentence, first):
        return ["ahead"] * len(chain)
    if asked:
        return ["either-back"] * len(chain)
    return ["either" if len(chain) > 1 and first.table else "ahead"] * len(chain)


_DONE = frozenset({"acts", "anaesthesia", "procedures"})
_DOING = _words("done given performed made placed put injected sited")
_WITH = 8  # tokens to what it was done with


def _is_done(sentence: Sentence, before: Mention, behind: Mention) -> bool:
    """ "Spinal yes, femoral block no periarticular injection done with sixty mils": answers by yes and no, or a deed
    that is told with its amount."""
    tokens = sentence.tokens
    after = [token.norm for token in tokens[behind.last + 1 : behind.last + 3]]
    told = bool(_DOING & set(after[:1])) or (after[:1] in (["was"], ["were"]) and bool(_DOING & set(after[1:])))
    if told and before.first and tokens[before.first - 1].norm == "yes":
        return True
    for at in range(behind.last + 1, min(len(tokens), behind.last + 1 + _WITH)):
        quantity = tokens[at].quantity
        if tokens[at].punctuation or tokens[at].norm == "no":
            return False
        if quantity is not None and quantity.dimension in ("volume", "mass"):
            return tokens[at - 1].norm == "with"
    return False


def _is_well(sentence: Sentence, at: int) -> bool:
    at += at < len(sentence.tokens) and sentence.tokens[at].norm in ("was", "were", "is", "are")
    return at < len(sentence.tokens) and sentence.tokens[at].norm in _WELL


_WELL = _words("normal intact healthy stable unremarkable fine clear patent preserved smooth good pristine")


def _thing_before(sentence: Sentence, at: int) -> Mention | None:
    named = [m for m in sentence.mentions if m.last == at - 1 and m.table in _THINGS]
    routes = [m.first for m in sentence.mentions if m.table == "routes" and m.last == at - 1]
    named = named or [m for m in sentence.mentions if m.table == "drugs" and m.last + 1 in routes]  # "morphine i.v. no"
    named = named or _put_there(sentence, at)
    named = named or [m for m in sentence.mentions if m.table == "sites" and m.last == at - 1 and m.first
                      and sentence.tokens[m.first - 1].norm == "yes"]  # fmt: skip
    unnamed = Mention("", "", at - 1, at - 1) if at and _is_noun(sentence, at - 1) else None
    return min(named, key=lambda m: (m.first, m.table not in _ASKED), default=unnamed)


def _put_there(sentence: Sentence, at: int) -> list[Mention]:
    """ "Pin across the joint no": a thing with its place."""
    site = next((m for m in sentence.mentions if m.table == "sites" and m.last == at - 1), None)
    back = site.first - 1 if site is not None else -1
    while back > 0 and sentence.tokens[back].norm in ("the", "left", "right"):
        back -= 1
    if back < 1 or sentence.tokens[back].norm not in ("across", "into", "through", "over"):
        return []
    return [m for m in sentence.mentions if m.last == back - 1 and m.table in _THINGS]


def _is_noun(sentence: Sentence, at: int) -> bool:
    """Whether a word that no grammar names may be a thing that is asked for: "buckle no"."""
    token = sentence.tokens[at]
    return len(token.norm) >= _LEAST and token.norm.isalpha() and not (
        token.norm in clauses.TIED or token.norm in _LEADS or token.norm.endswith((*_OF_A_PHRASE, "ly", "ous", "ive"))
        or clauses.is_state(sentence, at) or clauses.is_participle(sentence, at)
        or any(m.first <= at <= m.last for m in sentence.mentions)
    )


_LEAST = 4  # letters


def _thing_behind(sentence: Sentence, at: int) -> Mention | None:
    """The named thing that the "no" could deny: within a few words, with nothing but words of its own before it."""
    named = [m for m in sentence.mentions if at < m.first <= at + _FAR and m.table in _THINGS | {"sites"}]
    named += [m for m in sentence.mentions if m.first == at and m.last > at and m.table in _THINGS]  # "no tourniquet"
    if not named:
        return None
    found = min(named, key=lambda m: (m.first, -m.last))
    between = sentence.tokens[at + 1 : found.first]
    return None if any(t.punctuation or t.quantity is not None or t.norm in _LEADS for t in between) else found


def _may_be_answered(sentence: Sentence, thing: Mention, found: dict[int, str]) -> bool:
    """Whether a "no" may answer a thing: not the title, not one that has its number or is part of a phrase."""
    if not thing.first or not sentence.index and thing.table == "procedures" and all(
        token.norm in ("left", "right", "bilateral") for token in sentence.tokens[: thing.first]
    ):
        return thing.table not in ("procedures", "acts")  # an operation that opens a narration is its title
    before = sentence.tokens[thing.first - 1]
    if before.norm == "no":
        return found.get(thing.first - 1) in ("back", "either-back")
    if _is_counted(before.quantity) and thing.table not in ("tourniquet", "drugs"):
        return False  # "two anchors no drain": told with their number
    return not (before.norm in _LEADS or before.norm in _TIED or before.norm in clauses.FINITE)


def _is_counted(quantity: Quantity | None) -> bool:
    """Whether a number before a thing may count it: not "loss seven hundred drain no"."""
    return quantity is not None and quantity.unit is None and (
        quantity.value is None or quantity.value <= _MOST_COUNTED
    )


_MOST_COUNTED = 12


def _is_bare(sentence: Sentence, thing: Mention) -> bool:
    """Whether nothing else is told of a thing before a "no", and it is part of no phrase."""
    if not thing.first:
        return True
    before = sentence.tokens[thing.first - 1]
    if thing.table in _SEEN:
        return False
    ended = before.punctuation or before.norm in _OWN_ANSWER or clauses.is_state(sentence, thing.first - 1)
    ended = ended or thing.first > 1 and sentence.tokens[thing.first - 2].norm in _TIED  # "not indicated drain no"
    return ended or thing.table in _ASKED or not before.norm.endswith(_OF_A_PHRASE)


_TIED = _words("not never")
_OF_A_PHRASE = ("ing", "ed", "al", "ic")


def _is_told(sentence: Sentence, at: int, behind: Mention | None) -> bool:
    """Whether what stands behind a "no" is told by itself: with an amount, or with an answer of its own."""
    tokens = sentence.tokens
    if behind is not None and behind.table in _FOUND and _is_sized_or_mended(sentence, behind.last + 1):
        return True
    if behind is not None:
        after = behind.last + 1
        quantity = tokens[after].quantity if after < len(tokens) else None
        if quantity is not None:
            return _is_its_own(behind, quantity)
        if behind.table == "tourniquet" and behind.id != "site":
            ahead = [token.quantity for token in tokens[after : after + _FAR + 1]]
            if any(one is not None and one.dimension in ("time", "pressure") for one in ahead):
                return True  # "no tourniquet whole case ninety minutes"
    for after in range(at + 2, min(at + 2 + _FAR, len(tokens))):
        token = tokens[after]
        if token.punctuation or token.quantity is not None or token.norm in _LEADS - {"no"} | _LOOKED:
            return False
        if token.norm in _OWN_ANSWER:
            return _answers(sentence, after)
    return False


def _is_sized_or_mended(sentence: Sentence, at: int) -> bool:
    """ "Slap no supraspinatus tear two centimetres", "no labral tear repaired": what is not there has no size and is
    not mended, so that the "no" is of what stands before it."""
    tokens = sentence.tokens
    for index in range(at, min(len(tokens), at + _FAR + 2)):
        token, quantity = tokens[index], tokens[index].quantity
        if quantity is not None:
            return quantity.dimension == "length" or (
                tokens[index + 1 : index + 2] != () and tokens[index + 1].norm in ("by", "x")
            )
        if token.punctuation or token.norm in _LEADS - {"of", "about"} | _LOOKED | _NO:
            return False
        if clauses.is_participle(sentence, index) and any(
            m.first == index and m.table in ("acts", "procedures") for m in sentence.mentions
        ):
            return True
    return False


_FOUND = frozenset({"findings", "diagnoses", "sites"})
_LOOKED = _words("seen found noted identified felt visible")  # "no crystals seen culture not sent"


def _answers(sentence: Sentence, at: int) -> bool:
    """Whether an answer at a token is said of what stands before it."""
    tokens = sentence.tokens
    norm = tokens[at].norm
    if norm != "no":
        return norm != "not" or at + 1 < len(tokens)
    behind = tokens[at + 1] if at + 1 < len(tokens) else None
    return behind is None or behind.punctuation or behind.norm in _ANEW


_ANEW = _words("she he they we i the then patient wound skin")


def _is_its_own(thing: Mention, quantity: Quantity) -> bool:
    """Whether a number right behind a thing is told of it: a dose of a drug, a bare number of drains."""
    if thing.table in _OF_AMOUNTS:
        return quantity.dimension in _OF_AMOUNTS[thing.table] and quantity.form in ("number", "range", "fraction")
    return thing.table in _COUNTED and quantity.form == "number" and (
        quantity.unit is None or quantity.dimension in ("length", "diameter", "gauge")
    )


def doubt(facts: Sequence[Fact], reading: Reading) -> list[Fact]:
    """The facts; both ends of a chain of things and "no"s that may be read either way carry a doubt. Pure."""
    ends: list[tuple[int, int]] = []
    for sentence in reading.sentences:
        if not sentence.says(_NO):
            continue
        unsure = [at for at, side in _decided(sentence).items() if side.startswith("either")]
        for at in unsure:
            for thing in (_thing_before(sentence, at), _thing_behind(sentence, at)):
                inner = thing is not None and (thing.first - 1 in unsure and thing.last + 1 in unsure)
                if thing is not None and not inner:
                    ends.append((sentence.tokens[thing.first].first, sentence.tokens[thing.last].last))
    if not ends:
        return list(facts)
    return [
        replace(fact, doubts=(*fact.doubts, EITHER))
        if EITHER not in fact.doubts and any(first <= fact.evidence.last and fact.evidence.first <= last
                                             for first, last in ends)
        else fact
        for fact in facts
    ]  # fmt: skip


_NO = frozenset({"no"})
