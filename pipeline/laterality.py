"""Sides: which of left, right and both belongs to a phrase, and when that cannot be told.

Words of side and their look-alikes are rows of grammars/sides.toml, found apart from the mentions, the longest
phrase first. What is decided here:

* "left in place", "left the room", "the right size", a right angle, handedness, positions and directions ("head
  turned to the left", "right lateral decubitus") are no sides.
* Parts of unpaired organs (right atrium, left lobe of the liver, right colon, a quadrant of the abdomen) have a
  side as their name; it is no side of the operation and is not given out.
* A side belongs to the noun phrase that it stands in, else to the one that it follows ("hernia, left", "release of
  the left carpal tunnel"), else to all of its sentence if no other side is said there. A harvest site keeps its side
  to itself. Two sides and no phrase to tell them apart: no side, and a doubt that says so.
"""

from __future__ import annotations

from pipeline import clauses, denied_sides, donor_sides, listed_sides, paired_illness, sideshare, sidewise
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.records import Laterality, Mention, Sentence
from pipeline.side_names import BREAKS
from pipeline.sidewords import Side as Side
from pipeline.sidewords import of_next_one, points_elsewhere
from pipeline.sidewords import sides as sides

RELATIVE = "the side is only said in relation to another one"
OTHER_SIDE = "its side was said as the other side"
_RUN_ON = 40  # tokens; in a longer stream of speech a side reaches this far at most:
_REACH = 3


def _unmarked(sentence: Sentence) -> bool:
    """Whether a sentence is speech without marks: where it ends and its parts begin was not said."""
    return len(sentence.tokens) > _RUN_ON or not any([token.punctuation for token in sentence.tokens])


# What may lie between a thing and a side that follows it.
_BRIDGE = _words("of the a an to in at on over for from within through into involving about around her his their both")


def side_for(
    sentence: Sentence, first: int, last: int, grammar: Grammar, *, own_only: bool = False
) -> tuple[Laterality | None, str | None]:
    """(side of the phrase at tokens first..last, doubt in plain words). `own_only`: from its own phrase alone."""
    found = [side for side in sides(sentence, grammar) if _one_person(sentence, side.first, first)]
    if not found:
        return None, _compared(sentence, first, last)
    known: dict[tuple[int, int, bool, Grammar], tuple[Laterality | None, str | None]]
    known = sentence.memo.setdefault("side-for", {})
    key = first, last, own_only, grammar
    if key not in known:
        known[key] = _side_for(sentence, found, first, last, grammar, own_only)
    return known[key]


def _one_person(sentence: Sentence, side: int, thing: int) -> bool:
    """ "Father had a knee replacement, the patient a reconstruction on the left": the side is of one of them."""
    kin = [scope for scope in sentence.scopes if scope.value == "other_person"]
    return all((scope.first <= side <= scope.last) == (scope.first <= thing <= scope.last) for scope in kin)


def _compared(sentence: Sentence, first: int, last: int) -> str | None:
    """ "Right greater than left radiculopathy": why it is unsure whether a thing of the spine has a side."""
    at = sentence.memo.get("compared")
    beside = at is not None and (first == at[1] + 1 or 0 < at[0] - last <= _BESIDE)
    return "both sides were compared; which of them are meant is left open" if beside else None


_BESIDE = 2  # tokens


def _side_for(
    sentence: Sentence, found: list[Side], first: int, last: int, grammar: Grammar, own_only: bool
) -> tuple[Laterality | None, str | None]:
    for side in found:
        if side.first <= last and side.last >= first:
            return _given(side)
    beside = _phrase_before(sentence, found, first, grammar) or sideshare.of_subject(sentence, found, first)
    if beside is not None and _is_told_anew(sentence, beside, first, last):
        beside = None
    if beside is None:
        beside = _phrase_after(sentence, found, last)
        if beside is not None and (
            sidewise.on_each_number(sentence, found, beside) or paired_illness.is_on_both(sentence, found, last)
        ):
            return "bilateral", None  # "splints R 1, L 2"
    else:
        beside = sideshare.right_behind(sentence, found, own_noun(sentence, beside), first, last) or beside
    if beside is not None or own_only:
        return _given(beside) if beside is not None else (None, None)
    if (whole := listed_sides.joined_to(sentence, first, last)) is not None:
        return _side_for(sentence, found, whole.first, whole.last, grammar, False)
    return _of_sentence(sentence, found, first, last, grammar)


def own_side(sentence: Sentence, first: int, last: int, grammar: Grammar) -> Laterality | None:
    """The side of a thing from its own phrase, or the one that ends it ("placed to the apex on the left")."""
    told = {side.value for side in sides(sentence, grammar)}
    if ({"left", "right"} <= told or "bilateral" in told) and sideshare.on_each(sentence, last):
        return "bilateral"  # "left indirect mesh ten by fifteen on each side"
    side, doubt = side_for(sentence, first, last, grammar, own_only=True)
    if side is not None or doubt is not None:
        return side
    ends = sideshare.closing(sentence, sides(sentence, grammar), last)
    return ends.value if ends is not None else None


def only_side(
    sentence: Sentence, first: int, last: int, grammar: Grammar, *, donors: bool = True
) -> Laterality | None:
    """The side said within tokens first..last, if it is one and the same. `donors`: sides of a crest that marrow comes
    from count too."""
    told = [side for side in sides(sentence, grammar) if first <= side.first and side.last <= last]
    values = {side.value for side in told if not sideshare.of_way(sentence, side, -1, -1) and (
        donors or not donor_sides.of_bone(sentence, side, _bound_to(sentence, side)))}  # fmt: skip
    return values.pop() if len(values) == 1 else None


def _given(side: Side) -> tuple[Laterality | None, str | None]:
    return (None, RELATIVE) if side.value is None else (side.value, None)


def _phrase_before(sentence: Sentence, found: list[Side], first: int, grammar: Grammar) -> Side | None:
    ends = {side.last: side for side in found}
    told: frozenset[int] | None = None
    for index in range(first - 1, max(-1, first - 7), -1):
        if index in ends:
            taken = donor_sides.of_vein(sentence, ends[index].first, first, first)
            return None if taken or _trails(sentence, ends[index], grammar) else ends[index]
        token = sentence.tokens[index]
        if told is None:
            told = _predicates(sentence) if _unmarked(sentence) else frozenset()
        if index in told or token.norm in ("both", "later", "tomorrow", "next", "today"):
            return None  # "the left later decompression of the right head"
        if token.punctuation or token.norm in BREAKS or token.quantity is not None:
            return None
    return None


def _is_told_anew(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    """ "... and right shoulder injection synovitis was seen": in speech without marks, whether a thing is what the next
    statement tells of, behind the operation that the side before it is of."""
    behind = sentence.tokens[last + 1].norm if last + 1 < len(sentence.tokens) else ""
    return behind in clauses.FINITE and _unmarked(sentence) and any(
        m.table in ("procedures", "acts") and side.last < m.first and m.last < first for m in sentence.mentions
    )


def _predicates(sentence: Sentence) -> frozenset[int]:
    """Where something is told of the part right before it ("both ovaries normal"): what follows is something else."""
    sites = {mention.last for mention in sentence.mentions if mention.table == "sites"}
    told = {m.last for m in sentence.mentions if m.table == "findings" and m.first - 1 in sites}
    sides = {index for index, token in enumerate(sentence.tokens) if token.norm in ("left", "right", "both")}
    behind = {side + step for side in sides for step in (2, 3, 4)}
    told |= {
        index for index in behind
        if index < len(sentence.tokens) and index - 1 not in sides and (
            clauses.is_state(sentence, index) or (sentence.tokens[index].norm in _LOOKED_AT and index - 1 in sites)
        )
    }  # fmt: skip
    return frozenset(told)


_LOOKED_AT = _words("seen found identified visualised visualized inspected protected spared preserved traced free")


def _trails(sentence: Sentence, side: Side, grammar: Grammar) -> bool:
    """Whether a side closes what was said before it in a stream of speech ("through a needle on both sides balloons
    ...", "middle meatal antrostomy on the right polyps removed")."""
    tokens = sentence.tokens
    at = side.first - 1
    while at > 0 and tokens[at].norm in ("on", "the"):
        at -= 1
    if at >= 0 and tokens[at].quantity is not None and sidewise.side_of(sentence, at, grammar) == side.value:
        return True  # "two hundred right and one eighty left cement four millilitres"
    if not _unmarked(sentence) or side.first < 2:
        return False
    after = tokens[side.last + 1].norm if side.last + 1 < len(tokens) else ""
    if len(tokens) <= _RUN_ON and (after in clauses.FINITE or after in _ARTICLES) or after == "with":
        return False  # "on the left side a release was planned", "hernia on the right was reduced"
    at = side.first - 1
    the = tokens[at].norm == "the"
    at -= the
    if at < 1 or tokens[at].norm not in ("on", "from") or tokens[at - 1].punctuation:
        return False
    if tokens[side.last].norm in ("side", "sides"):
        return not the or clauses.bounds(sentence, side.first)[0] < at
    return the and side.first == side.last and own_noun(sentence, side) is None and (
        clauses.bounds(sentence, side.first)[0] < at
    )


_ARTICLES = _words("a an the we there this")


def _phrase_after(sentence: Sentence, found: list[Side], last: int) -> Side | None:
    starts = {side.first: side for side in found}
    tokens = sentence.tokens
    sites = {index for m in sentence.mentions if m.table == "sites" for index in range(m.first, m.last + 1)}
    named = {m.first for m in sentence.mentions if m.table not in ("sites", "sides")}
    end = clauses.bounds(sentence, last)[1]
    numbers = 0
    grafted = any("graft" in m.id or "flap" in m.id for m in sentence.mentions if m.first <= last <= m.last)
    for index in range(last + 1, min(last + 9, end)):
        if index in starts:
            if grafted and {token.norm for token in tokens[index - 2 : index]} & {"from"}:
                continue  # "a graft from the left groin to the right palm": where it was taken
            if sideshare.tells_state(sentence, starts[index]) and not any(
                m.table in clauses.HEADS and m.last == last for m in sentence.mentions
            ):
                return None  # "a 1.14 mm tube in the left was dry"
            if denied_sides.of_denied(sentence, index, last):
                return None
            drawn = donor_sides.of_vein(sentence, index, last, last)  # "prp, 15 mL of blood from the left arm"
            if drawn or sideshare.of_way(sentence, starts[index], last, last):
                return None  # "fusion through a left sided approach"
            return None if _opens_next(sentence, starts[index], last) else starts[index]
        token = tokens[index]
        if token.norm == "#level" or (tokens[index + 1 : index + 2] and tokens[index + 1].norm == "#level" and (
            token.norm in (",", "and", "&", "at")
        )):
            continue  # "medial branch blocks L4, L5 R"
        if token.norm in (",", "(", "-", ":"):
            if index + 1 in starts or (index + 2 in starts and tokens[index + 1].norm in ("on", "the")):
                after = starts.get(index + 1) or starts[index + 2]
                way = token.norm == "(" and sideshare.of_way(sentence, after, last, last)  # "ACDF (R approach)"
                return after if _closes(sentence, after) and not way else None
            return None
        if index in sites or token.norm in _BRIDGE:
            continue
        if token.norm in ("+", "&", "plus") and _is_number(sentence, index + 1):
            return None  # "a 2 cm bladder tumour + 1 cm right ureteric stone"
        if token.norm in _ORDER and index + 1 in starts:
            return None  # "arthritis of the knees first right knee"
        numbers += token.quantity is not None
        if token.punctuation or index in named or token.norm in BREAKS or index > last + 4:
            return None
        if numbers > 1 or token.norm in _OWN_NUMBER:
            return None
    return None


_ORDER = _words("first next now firstly starting beginning")  # "arthritis of the knees first right knee": told next
# What has a number of its own, so that a side behind it is of something else: "no drain, blood loss 50, both sides".
_OWN_NUMBER = _words("loss grade stage level count counts pressure tourniquet time")


def _opens_next(sentence: Sentence, side: Side, last: int) -> bool:
    """Whether a side leads a noun of its own that no preposition ties to what stands before it: "a six centimetre cyst
    right ovary normal", "osteoarthritis grade three right crest harvested". An operation or a diagnosis right before
    it has it ("arthroscopy left knee"), unless something is told of the noun."""
    tokens = sentence.tokens
    own = own_noun(sentence, side)
    stream = _unmarked(sentence)
    if (own is None and not stream) or (side.first > last + 1 and tokens[side.first - 1].norm in _BRIDGE):
        return False
    apart = not _site_tokens(sentence).issuperset(range(last + 1, side.first))
    if not any(m.table in ("procedures", "diagnoses", "acts") and m.first <= last <= m.last
               for m in sentence.mentions):  # fmt: skip
        sized = own is not None and _is_number(sentence, own.last + 1) and any(
            m.table == "devices" and m.last == last for m in sentence.mentions
        )  # "an 8 mm reamer left hip 20 gauge needle"
        return apart or (stream and (sized or _is_told_soon(sentence, own.last + 1 if own else side.last + 2)))
    if own is None:
        return stream and apart and _is_told_soon(sentence, side.last + 2)
    return stream and clauses.is_told(sentence, own.last + 1)


def _is_number(sentence: Sentence, at: int) -> bool:
    return at < len(sentence.tokens) and sentence.tokens[at].quantity is not None


def _is_told_soon(sentence: Sentence, index: int) -> bool:
    """Whether something is told of a noun that ends before a token, or of one a word further on ("ureteric orifice
    normal")."""
    if clauses.is_told(sentence, index):
        return True
    token = sentence.tokens[index] if index < len(sentence.tokens) else None
    return token is not None and token.norm.isalpha() and token.norm not in BREAKS and clauses.is_told(
        sentence, index + 1
    )


def _site_tokens(sentence: Sentence) -> frozenset[int]:
    return frozenset(
        index for m in sentence.mentions if m.table == "sites" for index in range(m.first, m.last + 1)
    )


def own_noun(sentence: Sentence, side: Side) -> Mention | None:
    """The part of the body that a side stands right before, over at most two words that describe it."""
    for index in range(side.last + 1, min(side.last + 4, len(sentence.tokens))):
        token = sentence.tokens[index]
        for mention in sentence.mentions:
            if mention.table == "sites" and mention.first == index:
                return mention
        if token.punctuation or token.norm in BREAKS or token.quantity is not None:
            return None
    return None


def _closes(sentence: Sentence, side: Side) -> bool:
    """Whether a side after a comma ends its phrase ("hernia, left.", "cyst, left knee, and ...") and does not open the
    next one ("stenosis of ninety percent, the right is occluded", "spinal, left knee opened")."""
    own = own_noun(sentence, side)
    after = (side.last if own is None else own.last) + 1
    if after >= len(sentence.tokens) or sentence.tokens[after].punctuation:
        return own is not None or after >= len(sentence.tokens) or sentence.tokens[after].norm != ":"
    return own is None and sentence.tokens[after].norm in BREAKS and sentence.tokens[after].norm not in clauses.FINITE


def _of_sentence(
    sentence: Sentence, found: list[Side], first: int, last: int, grammar: Grammar
) -> tuple[Laterality | None, str | None]:
    is_site = any(m.table == "sites" and m.first <= last and m.last >= first for m in sentence.mentions)
    free: list[Side] = []
    turned: Side | None = None  # opens what is told next
    title = sideshare.title_end(sentence)
    for side in found:
        if side.value is None:
            continue
        site = _bound_to(sentence, side)
        taken = sideshare.is_elsewhere(sentence, side, site, first, last)
        if taken or (site is not None and (is_site or donor_sides.is_harvest(sentence, site))):
            continue
        stream = len(sentence.tokens) > _RUN_ON or (_unmarked(sentence) and len(sentence.tokens) > 20)
        if side.last < first and _trails(sentence, side, grammar):
            continue
        if sideshare.of_way(sentence, side, first, last) or sideshare.of_later_part(sentence, side, first, last):
            continue
        if of_next_one(sentence, side, first, last):
            continue
        if side.first > last and sentence.tokens[side.first - 1].norm in _ORDER:
            break
        if side.last < first and _is_told_anew(sentence, side, first, last):
            continue
        opens = _unmarked(sentence) and _opens_next(sentence, side, last)
        if side.first > last and (opens or sideshare.told_later(sentence, side, last)):
            turned = side if opens else turned
            continue
        if turned is not None and side.first > last and side.value != turned.value:
            continue  # "clipped left ureter seen ileostomy on the right": told of what comes behind the next part
        both_in_title = max(side.last, last) < title
        close = _distance(side, first, last) <= _REACH and not clauses.parted(sentence, side.first, first)
        if stream and not both_in_title and not close:
            continue
        free.append(side)
    if len({side.value for side in free}) > 1:  # "for arthritis the left side was done in spring": told of another
        free = [side for side in free if not clauses.parted(sentence, side.first, first)] or free
    values = {side.value for side in free}
    if "bilateral" in values and (chosen := listed_sides.chosen(sentence, free, first)) is not None:
        return chosen, None
    if len(values) > 1 and last + 1 < len(sentence.tokens) and sentence.tokens[last + 1].norm == ":" and all(
        side.first > last for side in free
    ):  # "skin cancers excised: left cheek, right temple": the heading of a list, which tells the sides
        return None, None
    if len(values) > 1 and sideshare.in_brackets(sentence, free, last):
        return None, sideshare.BRACKETS
    if len(values) == 1:
        return (None if points_elsewhere(sentence, found, first, last) else free[0].value), None
    if not values:
        return None, None
    near = sorted(free, key=lambda side: _distance(side, first, last))
    clause = [side for side in near if _same_clause(sentence, side, first, last)]
    if clause and len({side.value for side in clause}) == 1:
        return clause[0].value, None
    shared = listed_sides.of_list(sentence, found, first, last)
    if shared is not None:
        return shared, None
    return None, "more than one side is said here"


def _distance(side: Side, first: int, last: int) -> int:
    return max(side.first - last, first - side.last, 0)


def _same_clause(sentence: Sentence, side: Side, first: int, last: int) -> bool:
    low, high = min(side.last, last), max(side.first, first)
    if side.first > last and any(m.table in _OWN and last < m.first < side.first for m in sentence.mentions):
        return False  # "meniscectomy tourniquet on the right thigh": of the tourniquet
    return not any(sentence.tokens[index].punctuation or sentence.tokens[index].norm in ("and", "then", "while")
                   for index in range(low + 1, high))  # fmt: skip


_OWN = frozenset({"tourniquet", "events", "devices", "drains", "anaesthesia", "drugs", "positions"})


def _bound_to(sentence: Sentence, side: Side) -> Mention | None:
    """The site that a side belongs to: the next one in its noun phrase, else the one just before."""
    for index in range(side.last + 1, min(side.last + 6, len(sentence.tokens))):
        token = sentence.tokens[index]
        if token.punctuation or token.norm in BREAKS:
            break
        for mention in sentence.mentions:
            if mention.table == "sites" and mention.first == index:
                return mention
    for mention in sentence.mentions:
        if mention.table == "sites" and 0 < side.first - mention.last <= 2:
            return mention
    return None
