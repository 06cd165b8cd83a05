"""What was made ready and how it was shared out, by the words: "ten mils drawn up, six in the palm and eight at the
wrist" gives more than there was, whether or not each share is an entry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from pipeline import gapped, mentions
from pipeline.checks.base import read
from pipeline.conversion import convert, convertible
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Quantity, Sentence, Token

_LENT = frozenset({"volume", "mass", "amount"})
_STOPS = frozenset({".", ";", "?"})
# Common speech, no source.
_READY = frozenset("mixed loaded prepared reconstituted dissolved opened thawed".split())
_READY_UP = frozenset({"drew", "drawn", "draw", "made", "mixed", "make"})  # "up"
_MADE = frozenset("had off gave gives yield yielded yields produced spin spun got".split())
_DRAWN_OFF = frozenset({"drew", "drawn", "took", "got", "sucked"})  # "off": only what became of it is told
_PRODUCTS = frozenset({"prp", "bmac", "concentrate", "plasma", "bmc", "lysate", "product"})
_HAD = frozenset("got had received gave used injected gets".split())
_FATES = frozenset("injected given infiltrated went used put placed".split())
_GONE = frozenset("discarded wasted thrown binned tossed left".split())
_WHEN = frozenset("before after afterwards beforehand first later medially laterally anteriorly posteriorly".split())
_IN_IT = frozenset({"sodium-chloride", "water-for-injection"})  # what a drug is dissolved in
_AGENTS = frozenset("citrate acd acd-a acda anticoagulant cpd heparin".split())  # stays in the syringe
_REST = frozenset({"remaining", "rest", "other", "last", "leftover"})
_SUMS = frozenset({"all", "total", "altogether", "together", "so", "makes", "making", "="})
_EACH = frozenset({"each", "both", "either", "per"})
_PAIRS = frozenset("knee knees hip hips shoulder shoulders side sides elbow elbows wrist wrists ankle ankles hand "
                   "hands foot feet heel heels".split())  # fmt: skip
_NEAR, _FAR, _SENTENCES = 7, 60, 5  # tokens around what was made ready, tokens and sentences to its shares


@dataclass(frozen=True, slots=True)
class Portions:
    """`made`: the amount that was ready; `shares`: what became of it, in its unit; `where`: sentence of the last one;
    `ends`: a share was said to be what was left."""

    passage: Passage
    where: Passage
    made: Quantity
    shares: tuple[Decimal, ...]
    drugs: frozenset[str]
    ends: bool

    @property
    def wrong(self) -> bool:
        whole, ready = sum(self.shares, Decimal(0)), self.made.value or Decimal(0)
        return whole > ready or (self.ends and len(self.shares) > 1 and whole != ready)


def shared_out(note: OperativeNote, grammar: Grammar) -> Iterator[Portions]:
    """What was made ready of one thing, with its shares, where any were told. Pure."""
    passages = note.sections.description
    for place, passage in enumerate(passages):
        tokens = read(passage)
        norms = {token.norm for token in tokens}
        if not norms & (_READY | _READY_UP | _MADE | {"syringe", "aspirated", "drained"}):
            continue
        for at, token in enumerate(tokens):
            quantity = token.quantity
            if quantity is None or not _is_amount(quantity) or not _is_ready(tokens, at):
                continue
            told = _shares(passages[place : place + _SENTENCES], at, quantity, grammar)
            if told is not None:
                yield told


def _is_amount(quantity: Quantity) -> bool:
    plain = quantity.form in ("number", "fraction") and quantity.comparator is None and quantity.value is not None
    return plain and quantity.dimension in _LENT


def _is_ready(tokens: Sequence[Token], at: int) -> bool:
    """Whether the words around an amount, up to another one, tell that so much stood ready."""
    own = tokens[at].quantity
    assert own is not None
    near: list[list[str]] = []
    for step in (-1, 1):
        words: list[str] = []
        for token in tokens[at + step :: step] if at + step >= 0 else []:
            other = token.quantity
            if token.norm in _STOPS or len(words) >= _NEAR or (other is not None and other.dimension == own.dimension):
                break
            words.append(token.norm)
        near.append(words[::-1] if step < 0 else words)
    before, behind = near
    of_product = bool(_PRODUCTS & set(behind[:4])) and bool(_MADE & set(before[-3:] + behind))
    if {"not", "never", "no"} & set(before[-3:]) or _AGENTS & set(behind[:4]):
        return False
    pairs = set(pairwise([*before, "#", *behind]))
    if any((verb, "off") in pairs for verb in _DRAWN_OFF) or {"aspirated", "drained"} & set(before[-3:] + behind[:5]):
        return True
    ready = bool(_READY & set(before[-4:] + behind)) or any((verb, "up") in pairs for verb in _READY_UP)
    return ready or of_product or any((word, "syringe") in pairs for word in ("the", "one", "a", "same"))


def _shares(passages: Sequence[Passage], start: int, made: Quantity, grammar: Grammar) -> Portions | None:
    shares: list[Decimal] = []
    drugs: frozenset[str] = frozenset()
    own: set[str] = set()
    off = _is_off(read(passages[0]), start)
    where, ends, gone = passages[0], False, 0
    for number, passage in enumerate(passages):
        if passage.section != passages[0].section:
            break
        tokens = read(passage)
        marked = mentions.mark(Sentence(0, tuple(tokens)), grammar).mentions
        named = [(m.first, m.id) for m in marked if m.table in ("drugs", "injectates") and m.id not in _IN_IT]
        sites = {m.first for m in marked if m.table == "sites"}
        products = {token.norm for token in tokens} & _PRODUCTS
        if number and not products <= own:
            break  # of another product
        if own and not products and (number > 1 or (number and named)):
            continue  # "... six of plasma. Meanwhile I'd drawn up the lidocaine. The plasma went in, ..."
        if not number:
            own = {token.norm for token in tokens} & _PRODUCTS
            drugs = frozenset(name for _, name in named)
            if len(drugs) > 1:
                return None  # of which of them it would be; mixtures are the business of `mixture_total`
        before = len(shares)
        for at in range(start + 1 if not number else 0, len(tokens)):
            gone += 1
            if gone > _FAR or any(first == at and name not in drugs for first, name in named):
                return _told(passages, where, made, shares, drugs, ends)
            share = _share(tokens, at, made, sites, off=off)
            if share is None:
                continue
            shares.append(share)
            where, ends = passage, ends or bool(_REST & {token.norm for token in tokens[max(0, at - 2) : at]})
        if number and len(shares) == before and not own or sum(shares) == made.value:
            break  # told, or shared out
    return _told(passages, where, made, shares, drugs, ends)


def _is_off(tokens: Sequence[Token], at: int) -> bool:
    """ "Drew off thirty five mils of fluid": what came out of the patient."""
    near = [token.norm for token in tokens[max(0, at - 4) : at + 6]]
    return bool({"aspirated", "drained", "effusion", "fluid"} & set(near)) or any(
        (verb, "off") in pairwise(near) for verb in _DRAWN_OFF
    )


_LAB = frozenset({"lab", "laboratory", "culture", "microbiology", "cytology", "analysis", "microscopy", "crystals"})


def _told(
    passages: Sequence[Passage], where: Passage, made: Quantity, shares: list[Decimal], drugs: frozenset[str],
    ends: bool,
) -> Portions | None:  # fmt: skip
    return Portions(passages[0], where, made, tuple(shares), drugs, ends) if shares else None


def _share(tokens: Sequence[Token], at: int, made: Quantity, sites: set[int], *, off: bool) -> Decimal | None:
    """How much of what was ready went somewhere by the words around a number; None for a number of anything else."""
    quantity = tokens[at].quantity
    if quantity is None or quantity.value is None or quantity.form not in ("number", "fraction"):
        return None
    same = quantity.unit is not None and made.unit is not None and convertible(quantity.unit, made.unit)
    if not same and (quantity.dimension or quantity.form != "number"):
        return None
    before = [token.norm for token in tokens[max(0, at - 3) : at]]
    behind = [token.norm for token in tokens[at + 1 : at + 6]]
    if _SUMS & set(before) or _SUMS & set(behind[:2]):
        return None
    went = gapped.went_somewhere(tokens, at) or bool(_FATES & set(behind[:2])) or before[-1:] and before[-1] in _HAD
    went = went or (same and behind[:2] == ["for", "the"]) or (same and bool(sites & {at + 1, at + 2}))
    went = went or bool(behind) and behind[0] in _WHEN  # "forty before the cement and sixty afterwards"
    gone = bool(_GONE & set(behind[:2])) or before[-1:] == ["remaining"]
    sent = behind[:1] in (["to"], ["for"], ["sent"]) and bool(_LAB & set(behind[:4]))
    if not (gone or sent or went and not off):
        return None
    value = quantity.value
    if same and quantity.unit and made.unit:
        value = convert(value, quantity.unit, made.unit)
    return value * 2 if set(behind[:3]) & _EACH and set(behind) & _PAIRS else value
