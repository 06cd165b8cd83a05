"""Numbers that leave their unit out because it was just said: "four mils into the condyle, three into the plateau".

Only where the grammar of the sentence says so: the number with the unit and the bare one both stand before a place or
a moment and nothing but a comma or "and" joins them, or the bare one is as much again ("another eight at the end",
"fifty more"). The unit is lent with a doubt, so that the surgeon is asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.records import Token

_PLACES = frozenset("into in to at around round about on onto over under along inside before after during".split())
_MORE = frozenset({"another", "further", "additional", "again"})
_ENDS = frozenset("at before after during in later for when then as on also too so".split())  # behind "fifty more"
_JOINS = frozenset({",", "and", "then", ";", "plus", "with"})
_REST = frozenset("the a another remaining other rest last next further final".split())
_LENT = frozenset({"volume", "mass", "amount"})
_STRENGTHS = frozenset({"fraction", "concentration", "mass_concentration"})
_MOVES = frozenset({"length", "turns", "angle"})
_NO_PLACE = frozenset("all total number each one two three four five six place".split())
_SUBSTANCE = 5  # tokens of "of the marrow concentrate" between the unit and the place
_APART = 16  # tokens between the two numbers


def lend(tokens: Sequence[Token]) -> list[Token]:
    """The tokens, with the unit lent to bare numbers that leave it out. Pure; others unchanged, in order."""
    out = list(tokens)
    giver = said = told = -1
    named: dict[str, int] = {}
    for index, token in [(at, token) for at, token in enumerate(out) if token.quantity is not None]:
        quantity = token.quantity
        if quantity is None or quantity.form not in ("number", "range", "fraction"):
            continue
        if quantity.dimension in _STRENGTHS:
            continue  # "ten mils of quarter percent bupivacaine to the wound, another ten to the drain site"
        if quantity.dimension in _MOVES and told >= 0:
            giver = said = -1  # "second draw five mils, back half a centimetre, third draw five"
            continue
        substance = _substance(out, index)
        if quantity.dimension:
            if quantity.dimension in _LENT - {"volume"} and substance:  # "eighty of lidocaine" may be milligrams
                named[substance] = index
            told = index if quantity.dimension in _LENT and _ordinal_before(out, index) else -1
            said = index if quantity.dimension in _LENT else -1
            giver = index if said >= 0 and _placed(out, index) else -1
            continue
        same = named.get(substance, -1) if quantity.form == "number" else -1
        if same >= 0:  # "forty milligrams of triamcinolone ..., eighty of triamcinolone altogether"
            said = same
        if same < 0 and said >= 0 and quantity.form == "number" and index - said <= _APART and (
            _substance(out, said) in _PRODUCTS and _at_place(out, index + 1)
        ):
            same = said  # "eight millilitres of concentrate, four into the left knee and four into the right"
        if same < 0 and quantity.form == "number" and _of_anticoagulant(out, index):
            same = next((at for at in range(index - 1, max(-1, index - _APART), -1) if out[at].norm == "#volume"), -1)
            said = same if same >= 0 else said  # "fifty mils of blood with five of citrate"
        if same < 0 and quantity.form == "number" and index and out[index - 1].norm == "all" and (
            _at_place(out, index + 1)
        ):
            same = next((at for at in range(index - 1, max(-1, index - _FROM_PRODUCT), -1)
                         if out[at].norm == "#volume" and _substance(out, at) in _PRODUCTS), -1)  # fmt: skip
            said = same if same >= 0 else said  # "five mils of plasma ..., all five into the tendon"
        if same < 0 and quantity.form == "number" and [one.norm for one in out[max(0, index - 2) : index]] == [
            "the", "other"
        ]:  # "five mils in the right knee ..., the left one gets the other five"
            same = next((at for at in range(index - 1, max(-1, index - _FROM_PRODUCT), -1) if out[at].norm == "#volume"
                         and (one := out[at].quantity) is not None and one.value == quantity.value), -1)  # fmt: skip
            said = same if same >= 0 else said
        listed = told >= 0 and index - told <= _APART and _is_next(out, index)
        if same < 0 and said >= 0 and index - said <= _APART and _is_fate(out, said, index):
            same = said  # "twenty mils drawn up, fifteen given, the remaining five discarded"
        more = same >= 0 or listed or (said >= 0 and index - said <= _APART and _is_more(out, index))
        said = told if listed else said
        source = out[said if more else giver].quantity if more or giver >= 0 else None
        if not more and (source is None or index - giver > _APART or not _joined(out, index)
                         or not _at_place(out, index + 1)):  # fmt: skip
            giver = -1 if quantity.form != "number" else giver
            continue
        assert source is not None
        doubt = f"the unit of {token.text} was not said; taken as {source.said_unit}, as in '{source.text}'"
        fate = more and not listed and _is_fate(out, said, index)
        if (more and not listed and not fate) or source.value == quantity.value:  # told as more of it, or as much again
            doubt = f"said as more of '{source.text}'; its unit taken as {source.said_unit}"
        lent = replace(
            quantity, unit=source.unit, said_unit=source.said_unit, dimension=source.dimension,
            doubts=(*quantity.doubts, doubt),
        )  # fmt: skip
        out[index] = replace(token, norm=out[said if more else giver].norm, quantity=lent)
        giver = said = index
        told = index if listed else told
    return _lend_spans(out)


def _of_anticoagulant(tokens: Sequence[Token], index: int) -> bool:
    """ "With five of citrate", "plus six of ACD-A": told beside the blood that it keeps from clotting."""
    before = tokens[index - 1].norm if index else ""
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    return before in _JOINS and behind[:1] == ["of"] and bool(set(behind[1:]) & _KEEPS_THIN)


_KEEPS_THIN = frozenset({"citrate", "acd", "acd-a", "acda", "cpd", "anticoagulant"})
_FROM_PRODUCT = 40  # tokens


def _is_fate(tokens: Sequence[Token], said: int, index: int) -> bool:
    """ "Twenty mils of ropivacaine drawn up fifteen given and the remaining five discarded": what became of so much of
    what was made ready."""
    own = tokens[index].quantity
    near = {token.norm for token in tokens[max(0, said - 3) : index]}
    if own is None or own.form != "number" or tokens[said].norm not in _MADE_READY or not near & _READY:
        return False
    if went_somewhere(tokens, index):
        return True  # "ten mils drawn up, six in the palm and four at the wrist"
    behind = [token.norm for token in tokens[index + 1 : index + 6]]
    behind = behind[2:] if behind[:1] == ["of"] and behind[1:2] and behind[1] in _IT else behind
    behind = behind[1:] if behind[:1] in (["mix"], ["mixture"], ["solution"]) else behind
    behind = behind[1:] if behind[:1] in (["was"], ["were"]) else behind
    before = tokens[index - 1].norm
    ends = not behind or behind[0] in _FATE_ENDS
    return (bool(behind) and behind[0] in _FATES) or (before in _DID and ends)


def went_somewhere(tokens: Sequence[Token], index: int) -> bool:
    """ "Six in the palm", "four of it round the wound": a place right behind an amount."""
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    of_it = behind[:1] == ["of"] and behind[1:] and behind[1] in _IT
    at = index + 1 + 2 * bool(of_it)
    if at + 1 >= len(tokens):
        return False
    spot = tokens[at].norm in _SPOTS and _at_place(tokens, at)
    spot = spot or (tokens[at].norm in _BESIDE and tokens[at + 1].norm in ("the", "his", "her"))
    return spot and (
        tokens[at + 1].norm not in _NO_SPOT and not {token.norm for token in tokens[at + 1 : at + 4]} & _VESSELS
    )


_IT = frozenset({"it", "this", "that"})
_SPOTS = _PLACES - {"before", "after", "during", "about"}
_BESIDE = frozenset("by beside alongside behind beneath through near below above under between".split())
_NO_SPOT = frozenset("case reserve time end start same saline water".split())
_VESSELS = frozenset("syringe syringes tube bag bottle bowl pot kit bin sink waste dish".split())
_READY = frozenset("drawn drew draw prepared available loaded opened ready reconstituted dissolved mixed made syringe "
                   "syringes".split())
_MADE_READY = frozenset({"#volume", "#mass", "#amount"})
_FATES = frozenset("given used injected infiltrated discarded wasted thrown binned left went put placed".split())
_DID = frozenset("used gave got had received injected infiltrated discarded wasted threw binned remaining".split())
_FATE_ENDS = frozenset(", . ; and then threw away discarded wasted the".split())


def _lend_spans(tokens: list[Token]) -> list[Token]:
    """The same for lengths of time that follow one another: "slab for two weeks, then a boot for two"."""
    giver = -1
    for index, token in enumerate(tokens):
        if token.norm in (".", ";"):
            giver = -1
        quantity = token.quantity
        if quantity is None:
            continue
        if quantity.dimension == "time":
            after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
            giver = index if quantity.unit in _SPANS and after not in _GONE else -1
            continue
        source = tokens[giver].quantity if giver >= 0 else None
        if source is None or quantity.form != "number" or quantity.dimension or not _is_next_span(tokens, giver, index):
            continue
        doubt = f"the unit of {token.text} was not said; taken as {source.said_unit}, as in '{source.text}'"
        lent = replace(quantity, unit=source.unit, said_unit=source.said_unit, dimension="time",
                       doubts=(*quantity.doubts, doubt))  # fmt: skip
        tokens[index] = replace(token, norm=tokens[giver].norm, quantity=lent)
        giver = index
    return tokens


_SPANS = frozenset({"d", "wk", "mo"})
_GONE = frozenset({"ago", "old", "later", "before", "earlier", "prior"})


def _is_next_span(tokens: Sequence[Token], giver: int, index: int) -> bool:
    """Whether "then" parts a bare number from a length of time and nothing follows that it would count."""
    between = [token.norm for token in tokens[giver + 1 : index]]
    if index - giver > _APART or "then" not in between:
        return False
    near = tokens[index - 1].norm in ("for", "another") or len(between) - between.index("then") <= _STAGE
    ends = index + 1 >= len(tokens) or tokens[index + 1].punctuation or tokens[index + 1].norm in _SPAN_ENDS
    value = tokens[index].quantity
    whole = value is not None and value.value is not None and value.value == int(value.value) and 0 < value.value <= 52
    return near and ends and whole and tokens[index - 1].norm not in ("to", "-", "by", "x", "at", "of", "size")


_SPAN_ENDS = frozenset({"then", "and", "no", "non"})
_STAGE = 3  # tokens from "then" to a number without "for" ("then boot two")


def _substance(tokens: Sequence[Token], index: int) -> str:
    """The word of what an amount is of ("of triamcinolone"); "" where none is said."""
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    long = len(behind) == 2 and behind[0] == "of" and len(behind[1]) >= _NAME and behind[1].isalpha()
    return behind[1] if long else ""


_PRODUCTS = frozenset({"concentrate", "marrow", "plasma"})
_NAME = 6  # letters: shorter words are seldom drugs ("of that", "of each")


def _ordinal_before(tokens: Sequence[Token], index: int) -> bool:
    """ "First syringe five mils", "the third was four": an ordinal leads to the number."""
    for token in reversed(tokens[max(0, index - _ORDINAL_REACH) : index]):
        if token.quantity is not None:
            return token.quantity.form == "ordinal"
        if token.norm not in _LEADS:
            return False
    return False


def _is_next(tokens: Sequence[Token], index: int) -> bool:
    """ "... five mils second five third four": the next of a row that ordinals tell off, and nothing that it counts."""
    if not _ordinal_before(tokens, index):
        return False
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    ordinal = after is not None and after.quantity is not None and after.quantity.form == "ordinal"
    return after is None or after.punctuation or ordinal or after.norm in _ROW_ON


_ORDINAL_REACH = 4
_LEADS = frozenset("syringe draw pull pass aspirate aliquot sample was gave is of about only one".split())
_ROW_ON = frozenset(
    "and then so that which the makes altogether in again another back next without with turn rotate".split()
)


def _is_more(tokens: Sequence[Token], index: int) -> bool:
    """ "Fifty more at incision", "another eight": no noun follows that the number would count."""
    before = tokens[index - 1].norm if index else ""
    if before == "again" and (index < 2 or tokens[index - 2].norm not in ("and", "then")):
        return False  # "fifty millilitres, I say again fifty"
    at = index + 1
    more = at < len(tokens) and tokens[at].norm == "more"
    at += more
    ends = at >= len(tokens) or tokens[at].punctuation or tokens[at].norm in _ENDS
    ends = ends or [token.norm for token in tokens[at : at + 3]] == ["of", "the", "same"]
    return ends and (more or before in _MORE)


def _placed(tokens: Sequence[Token], index: int) -> bool:
    """Whether a place follows the number, over what was given ("four mils of the concentrate into")."""
    at = index + 1
    if at < len(tokens) and tokens[at].norm == "of":
        for further in range(at + 1, min(at + 1 + _SUBSTANCE, len(tokens))):
            amount = tokens[further].quantity
            if tokens[further].punctuation or (amount is not None and amount.dimension not in _STRENGTHS):
                return False
            if _at_place(tokens, further):
                return True
        return False
    named = at + 1 < len(tokens) and tokens[at].norm.isalpha() and tokens[at + 1].norm in _MOMENTS
    return named or _at_place(tokens, at)  # "250 mg of it tonight", "250 mg acetazolamide tonight"


_MOMENTS = frozenset({"tonight", "tomorrow", "today", "now"})


def _at_place(tokens: Sequence[Token], at: int) -> bool:
    """Whether a preposition of place and a word that can name one stand here; not "in all", "to 5", "in one"."""
    if at < len(tokens) and tokens[at].norm in _MOMENTS:
        return True
    if at + 1 >= len(tokens) or tokens[at].norm not in _PLACES:
        return False
    after = tokens[at + 1]
    return after.quantity is None and not after.punctuation and after.norm not in _NO_PLACE


def _joined(tokens: Sequence[Token], index: int) -> bool:
    before = index - 1
    while before > 0 and tokens[before].norm in _REST:
        before -= 1
    return before > 0 and tokens[before].norm in _JOINS
