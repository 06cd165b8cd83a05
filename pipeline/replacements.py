"""What came in place of an implant that did not stay: "the twenty was too long and changed for an eighteen", "tried a
ten insert, loose, went up to a twelve", "insert 10 -> 12", "swapped for plus 1.5". What comes takes the name of what
goes; how it is told is looked for here once, for those who name the new and for those who take out the old."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.clauses import word_set as _words
from pipeline.records import Quantity, Sentence, Token


@dataclass(frozen=True)
class Replacement:
    """Token indexes of a sentence: where the telling begins (`cue`), the sizes of what came (`new`; none where it has
    a name or no size of its own). `offset`: only how much longer or shorter. `named`: the new one is told with a noun.
    `failed`: a number alone after "went up to" needs words that tell of a try or a fault before it."""

    cue: int
    new: tuple[int, ...]
    offset: bool
    named: bool
    failed: bool


_CHANGED = _words("changed exchanged swapped replaced substituted switched change swap exchange replace")
_RESIZED = _words("upsized downsized upgraded")
_FOR = _words("for by with w to into")
_WHAT = _words("it this that them these one those out")
_WENT = _words("went go gone going sized moved stepped dropped jumped came")
_WAY = _words("up down back")
_OUT = _words("came comes taken took pulled removed out came")
_LED = _words("a an the one size sized new number another single bigger larger longer smaller shorter wider thicker")
_PUT = _words("put placed inserted used taken in was went one")
_JOINED = _words("and then so , ; but again we i put in went with a an the new size . - it")
_BY = _words("x by \u00d7")
_IN_PLACE = frozenset({("in", "its", "place"), ("in", "place", "of"), ("in", "their", "place")})
_FAULTS = _words(
    "tried trial trialled trialed tight loose long short big small large wide narrow thick thin proud stripped spun "
    "unstable instability jammed prominent lax laxity gapped gapping broke bent wobbly wobbled pistoned lifted "
    "luxated dislocated opened toggled bite hold engage seat fit purchase"
)
_TRIED = _words("tried trial trialled trialed trialing trialling")
REACH = 30  # tokens between a thing and what came in its place
NOUN = 3  # tokens from a size to the noun behind it
_NO_SIZE = _words("weeks week days day months month degrees times percent o'clock mils minutes hours of kilos newtons "
                  "newton hours hour levels level holes hole")  # fmt: skip


def in_sentence(sentence: Sentence) -> tuple[Replacement, ...]:
    """The replacements told in a sentence, in order."""
    held: tuple[Replacement, ...] | None = sentence.memo.get("replacements")
    if held is None:
        held = sentence.memo["replacements"] = tuple(_found(sentence)) if sentence.says(_TELLING) else ()
    return held


_TELLING = _CHANGED | _RESIZED | _WENT | _OUT | _words("-> instead place") | _words(
    "cemented used chose put placed implanted inserted settled seated perfect good right stable fine better best "
    "balanced snug well"
)


def is_tried(sentence: Sentence, first: int, last: int) -> bool:
    """Whether the words first..last tell that a thing was only tried."""
    return any(token.norm in _TRIED for token in sentence.tokens[max(0, first) : last + 1])


def old_size(sentence: Sentence, thing: int, cue: int, offset: bool) -> int | None:
    """The size (or the offset) without a noun between a thing and its change: "screw forty five too long, swapped"."""
    for at in range(cue - 1, thing, -1):  # "sixty and seventy, the seventy was too long"
        if not offset and sentence.tokens[at - 1].norm == "the" and _is_size(sentence, at) and (
            sentence.tokens[at + 1].norm in ("was", "did", "had", "would", "could", "broke", "stripped", "spun")
        ):
            return at
    for at in range(thing + 1, min(cue, thing + _OLD_REACH)):
        quantity = sentence.tokens[at].quantity
        if quantity is not None and _is_size(sentence, at):
            after = sentence.tokens[at + 1] if at + 1 < len(sentence.tokens) else None
            if after is not None and (after.norm in _NO_SIZE or after.norm in _BY):
                return None
            if after is not None and after.quantity is not None and not offset:
                continue  # "two 4.75": how many
            if (sentence.tokens[at - 1].norm in ("plus", "minus") or sentence.tokens[at].text[:1] in "+-") == offset:
                return at
    return None


_OLD_REACH = 9  # tokens


def old_ends(sentence: Sentence, one: Replacement) -> int:
    """Up to where the old size is told: before the change, or behind its "from"."""
    told = sentence.tokens[one.cue + 1 : max(one.new, default=one.cue)]
    return one.new[0] if one.new and any(token.norm == "from" for token in told) else one.cue


def one_of_them(sentence: Sentence, thing: int, cue: int) -> int | None:
    """Where it is told that one of several was changed: "two anchors, one of them stripped", "the third one"."""
    tokens = sentence.tokens
    for at in range(thing + 1, cue):
        quantity = tokens[at].quantity
        ordinal = quantity is not None and quantity.form == "ordinal"
        if ordinal or tokens[at].text.lower() == "one" or tokens[at].norm in ("another", "other", "last"):
            return at
        if quantity is not None and quantity.value == 1 and at + 1 < cue and tokens[at + 1].norm == "of":
            return at
    return None


def _found(sentence: Sentence) -> list[Replacement]:
    tokens = sentence.tokens
    found: list[Replacement] = []
    at = 0
    while at < len(tokens):
        begins, failed = _begins(tokens, at)
        told = _told(sentence, at, begins, failed) if begins is not None else None
        if told is not None:
            found.append(told)
            at = max(told.new, default=at)
        elif tokens[at].norm == "instead" or tuple(t.norm for t in tokens[at : at + 3]) in _IN_PLACE:
            before = _before(sentence, at)
            if before is not None and not (found and before.new[:1] <= found[-1].new[-1:]):
                found.append(before)
        at += 1
    return found


def _begins(tokens: tuple[Token, ...] | list[Token], at: int) -> tuple[int | None, bool]:
    """Where what came begins behind the words of change at `at`, and whether a fault must be told before them."""
    norms = [token.norm for token in tokens[at : at + 5]]
    norm = norms[0]
    if norm in _CHANGED:
        step = 1 + (norms[1:2] != [] and norms[1] in _WHAT)
        step += norms[step : step + 1] in (["out"], ["over"])
        if norms[step : step + 1] and norms[step] in _FOR:
            return at + step + 1, False
        if norms[step : step + 1] == ["from"]:
            return _behind_to(tokens, at + step + 1), False
        if norm == "replaced" and norms[1:3] and "new" in norms[1:4]:
            return at + norms.index("new"), False
    if norm in _RESIZED:
        return at + 1 + (norms[1:2] != [] and norms[1] in _FOR), False
    if norm in _WENT and norms[1:2] and norms[1] in _WAY:
        step = 2
        while norms[step : step + 1] and norms[step] in ("a", "one", "size", "sizes", "to", "#number"):
            if norms[step] == "to":
                return at + step + 1, True
            step += 1
    if norm == "went" and norms[1:2] == ["from"]:
        return _behind_to(tokens, at + 2), False
    if norm == "->" and at and (
        tokens[at - 1].quantity is not None or tokens[at - 1].norm in _FAULTS
    ):
        return (None, False) if norms[1:2] and norms[1] in _CHANGED | _RESIZED else (at + 1, True)
    if norm == "out" and at and (tokens[at - 1].norm in _OUT or norms[1:3] in (["it", "came"], ["they", "came"])) or (
        norm == "out" and at > 1 and tokens[at - 2].norm in _OUT
    ):
        step = at + 1 + 2 * (norms[1:3] in (["it", "came"], ["they", "came"]))
        while step < len(tokens) and tokens[step].norm in _JOINED and step - at < _BETWEEN:
            step += 1
        return (step, True) if step > at + 1 and _is_put(tokens, at, step) else (None, False)
    if norm in _CHOSEN and _after_fault(tokens, at):
        step = 1 + (norm == "settled" and norms[1:2] == ["for"]) + (norms[1:2] == ["in"])
        return (at + step, True) if norms[step : step + 1] in (["a"], ["an"], ["size"]) else (None, False)
    if tokens[at].quantity is not None and norms[1:2] in (["was"], ["is"]) and norms[2:3] and norms[2] in _GOOD:
        return (at, True) if _after_fault(tokens, at) else (None, False)
    return None, False


def _after_fault(tokens: tuple[Token, ...] | list[Token], at: int) -> bool:
    """Whether a fault of what was tried is told right before: "it was loose so we cemented a nine"."""
    return any(token.norm in _FAULTS for token in tokens[max(0, at - _BETWEEN) : at])


_CHOSEN = _words("cemented used took chose put placed implanted inserted settled seated")
_GOOD = _words("perfect good right stable fine better best balanced snug well")
_BETWEEN = 8  # tokens


def _is_put(tokens: tuple[Token, ...] | list[Token], at: int, number: int) -> bool:
    """Whether what follows a removal was put in: "put a nine by thirty in", "and an 18 went in"."""
    around = [token.norm for token in tokens[at + 1 : number]]
    after = [token.norm for token in tokens[number + 1 : number + 6]]
    return "put" in around or bool({"in", "went", "put", "placed", "used", "inserted", "instead"} & set(after))


def _behind_to(tokens: tuple[Token, ...] | list[Token], at: int) -> int | None:
    """Behind the "to" of "from a plus three to a plus six"."""
    return next((index + 1 for index in range(at, min(len(tokens), at + 7)) if tokens[index].norm == "to"), None)


def _told(sentence: Sentence, cue: int, begins: int, failed: bool) -> Replacement | None:
    tokens = sentence.tokens
    at = begins
    while at < len(tokens) and tokens[at].norm in _LED and tokens[at].quantity is None:
        at += 1
    offset = at < len(tokens) and tokens[at].norm in ("plus", "minus")
    at += offset
    if at >= len(tokens):
        return None
    run = _run(sentence, at)
    if not run:
        return Replacement(cue, (), False, True, failed) if at > begins and tokens[at].norm.isalpha() else None
    offset = offset or tokens[at].text[:1] in "+-" or tokens[at].text.lower().startswith(("plus", "minus"))
    return Replacement(cue, run, offset, _has_noun(sentence, run[-1]), failed)


def _before(sentence: Sentence, at: int) -> Replacement | None:
    """ "A 7 mm used instead", "a forty in its place": the number right before."""
    index = at - 1
    while index > at - 4 and index > 0 and sentence.tokens[index].quantity is None:
        if sentence.tokens[index].norm not in _PUT:
            return None
        index -= 1
    first = index
    while first > 1 and sentence.tokens[first - 1].norm in _BY and sentence.tokens[first - 2].quantity is not None:
        first -= 2
    run = _run(sentence, first)
    led = first and sentence.tokens[first - 1].norm in _LED | {","}
    return Replacement(first, run, False, False, True) if run and led else None


def _run(sentence: Sentence, at: int) -> tuple[int, ...]:
    """A size there, or the sizes of one thing joined by "by"."""
    tokens = sentence.tokens
    if not _is_size(sentence, at):
        return ()
    run = [at]
    while run[-1] + 2 < len(tokens) and tokens[run[-1] + 1].norm in _BY and _is_size(sentence, run[-1] + 2):
        run.append(run[-1] + 2)
    after = tokens[run[-1] + 1].norm if run[-1] + 1 < len(tokens) else ""
    return () if after in _NO_SIZE else tuple(run)


def _is_size(sentence: Sentence, at: int) -> bool:
    quantity: Quantity | None = sentence.tokens[at].quantity if at < len(sentence.tokens) else None
    return (
        quantity is not None and quantity.form in ("number", "label") and quantity.value is not None
        and (not quantity.dimension or quantity.unit == "mm")
    )


def _has_noun(sentence: Sentence, last: int) -> bool:
    """Whether a device is named right behind the size: "a 32 mm head"; one with a number of its own is told next."""
    for at in range(last + 1, min(len(sentence.tokens), last + 1 + NOUN)):
        token = sentence.tokens[at]
        if token.punctuation or token.quantity is not None:
            return False
        if token.norm in NOUNS or any(m.table == "devices" and m.first == at for m in sentence.mentions):
            end = next((m.last for m in sentence.mentions if m.table == "devices" and m.first == at), at)
            behind = sentence.tokens[end + 1 : end + 2]
            return not behind or behind[0].quantity is None
    return False


NOUNS = _words("head insert poly liner cup stem tray shell patella screw anchor plate nail button glenosphere femur "
               "tibia tube graft")  # fmt: skip


def is_open(sentence: Sentence, one: Replacement, thing: int) -> bool:
    """Whether it is left open that a thing was replaced: a "went up to" without a fault before it, or with the noun of
    something else behind it ("up to a twelve patella resurfaced")."""
    if sentence.tokens[one.cue].norm == "->" and one.cue - thing > _OLD_REACH:
        return True
    told = sentence.tokens[max(0, thing - _TOLD) : one.cue]
    beside = sentence.tokens[one.cue].norm == "->" and one.cue - thing <= _BESIDE
    return one.failed and not beside and not any(token.norm in _FAULTS for token in told)


_TOLD, _BESIDE = 6, 5  # tokens
