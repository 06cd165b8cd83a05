"""A volume that is of several drugs: of the mixture that was told, or of two drugs that "and" joins."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline import cues, mixtures
from pipeline.extractors import _drug_order, base
from pipeline.extractors._drug_events import Event
from pipeline.grammar import Grammar
from pipeline.records import Fact, Mention, Quantity, Reading, Sentence
from pipeline.rows import Drug


def mixture(sentence: Sentence, grammar: Grammar, index: int) -> int | None:
    """Token of "mixture" or "solution" where the volume at `index` is said of it. The only volume of a sentence that
    begins with the mixture, or tells its shares ("half lidocaine and half bupivacaine, 60 mL"), is that of the whole.
    """
    if (given := _given_of_both(sentence, index)) is not None:
        return given
    if is_own_share(sentence, index):
        return None
    hits = cues.hits(sentence, grammar, "mixture")
    for hit in hits:
        added = _drug_order.is_added(sentence, index, hit.first)
        if hit.first > index and not added and cues.gap(sentence, index, hit.first) <= 12:
            return hit.first
    beside = next((hit.first for hit in hits if hit.last == index - 1), None)  # "the same mixture two mils"
    if beside is None:
        beside = next((hit.first for hit in hits if _joins_two(sentence, hit, index)), None)
    if beside is not None:
        return beside
    if _holds_parts(sentence, index):
        return index + 1
    behind = "".join(token.norm for token in sentence.tokens[index + 1 : index + 2])
    drugs = [mention.first for mention in base.mentions(sentence, "drugs")]
    if hits and behind in ("each", "per") and drugs and hits[0].first < drugs[-1] < index and any(
        hits[0].last < first for first in drugs
    ):
        return hits[0].first  # "one mil of a mix of triamcinolone and bupivacaine, one mil each joint"
    if _sums_up(sentence, index):
        return min(mention.first for mention in base.mentions(sentence, "drugs"))
    if len(list(base.quantities(sentence, "volume"))) > 1:
        return None
    shares = mixtures.share(sentence.tokens)
    if shares is not None:
        return shares.first
    first = min((mention.first for mention in base.mentions(sentence, "drugs")), default=0)
    return next((hit.first for hit in hits if hit.first < first), None)


def _given_of_both(sentence: Sentence, index: int) -> int | None:
    """ "Bupivacaine 10 mL and lidocaine 10 mL, 15 mL injected": behind the volume of the last of several, what was put
    in of all of them; the place of that drug."""
    tokens = sentence.tokens
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    if index < 2 or tokens[index - 1].norm != "," or tokens[index - 2].norm != "#volume" or after not in _PUT:
        return None
    drugs = [m for m in base.mentions(sentence, "drugs") if m.last < index]
    own = drugs and drugs[-1].last < index - 2 <= drugs[-1].last + 2 or drugs and drugs[-1].last == index - 3
    return drugs[-1].first if own and len({m.id for m in drugs}) > 1 and _JOINED & {
        token.norm for token in tokens[drugs[-2].last + 1 : drugs[-1].first]
    } else None


def is_of_it(sentence: Sentence, index: int) -> bool:
    """ "Twelve mils of that", "of this, twelve mils", "ten of the mix": of what was told right before."""
    behind = [token.norm for token in sentence.tokens[index + 1 : index + 5]]
    while behind[:1] and behind[0] in ("was", "were", "from"):
        behind = behind[1:]
    if behind[:1] == ["of"] and (behind[1:2] and behind[1] in _IT or behind[1:2] == ["the"] and set(behind[2:]) & _MIX):
        return True
    before = [token.norm for token in sentence.tokens[max(0, index - 4) : index] if token.norm not in (",", "about")]
    return before[-2:-1] in (["of"], ["from"]) and before[-1] in _IT or (
        before[-3:-1] in (["of", "the"], ["from", "the"]) and before[-1] in _MIX
    )


_ADDED = frozenset({"adrenaline", "epinephrine"})
_IT = frozenset({"it", "this", "that", "which", "these"})
_MIX = frozenset({"mix", "mixture", "cocktail", "blend", "combination", "solution", "lot"})


COST = -4  # sooner than a total of what was injected, of which nobody says what it was


def of_both_before(reading: Reading, sentence: Sentence, index: int, quantity: Quantity) -> list[Fact]:
    """ "5 mL of lidocaine and 5 mL of bupivacaine, of this twelve went in": of several drugs, each with a volume of its
    own right beside it; nothing where there is one drug only, or the number is not said of them."""
    if not is_of_it(sentence, index):
        return []
    drugs = [m for m in base.mentions(sentence, "drugs") if m.last < index and m.id not in _ADDED]
    own = [m for m in drugs if any(
        (one := sentence.tokens[at].quantity) is not None and one.dimension == "volume" and at != index
        and (at < m.last + 2 or is_said_as(sentence, at))
        for at in range(max(0, m.first - _TO_AMOUNT - 1), min(index, m.last + 2 + _TO_AMOUNT))
    )]  # fmt: skip
    if len({m.id for m in own}) < 2 or len(own) < len(drugs):
        return []
    first = own[0].first
    return [base.claim("medication_volume", reading, sentence, index, first, first, COST, name="mixture",
                       group=f"m{base.group_of(sentence, first)}", unit=quantity.unit,
                       role="local_anaesthetic")]  # fmt: skip


_PUT = frozenset({"injected", "infiltrated", "given", "instilled", "used"})
_JOINED = frozenset({"and", "with", "plus", "+", "&"})


def is_own_share(sentence: Sentence, index: int) -> bool:
    """ "Bupivacaine 10 mL and lidocaine 10 mL mixed", "mixed 10 mL of bupivacaine with 10 mL of lidocaine", "4 mL of
    bupivacaine mixed with 40 mg of triamcinolone": right beside its drug, and what it is mixed with has an amount of
    its own or is told behind "with"."""
    tokens = sentence.tokens
    if is_said_as(sentence, index):
        return True
    behind = [token.norm for token in tokens[index + 1 : index + 3]]
    mixed = behind[:1] == ["mixed"] or behind in (["were", "mixed"], ["was", "mixed"])
    if mixed and any(m.last == index - 1 for m in base.mentions(sentence, "drugs")):
        return True
    at = index + 1 + (behind[:1] == ["of"])
    while at < len(tokens) and at <= index + _TO_DRUG and (
        tokens[at].norm in _SORT or ((one := tokens[at].quantity) is not None and one.dimension in _STRENGTH)
    ):
        at += 1
    drugs = [*base.mentions(sentence, "drugs", "fluids")]
    drug = next((m for m in drugs if m.first == at), None)
    if drug is None:
        return False
    rest = [token.norm for token in tokens[drug.last + 1 : drug.last + 4]]
    joined = [place for place, norm in enumerate(rest) if norm in ("mixed", "combined")]
    if any(rest[place + 1 : place + 2] == ["with"] for place in joined):
        return True
    if drug.last + 1 < len(tokens) and tokens[drug.last + 1].norm.startswith("#vol"):
        return False  # "5 mL (lidocaine 3 mL + bupivacaine 2 mL)": the whole, with its parts behind it
    return any(other.id != drug.id and _has_amount(sentence, other, index) for other in drugs)


def is_said_as(sentence: Sentence, index: int) -> bool:
    """ "Depo-Medrone eighty milligrams, which is two mils": the dose right before it as a volume."""
    before = [token.norm for token in sentence.tokens[max(0, index - 4) : index] if token.norm != ","]
    led = before[-2:] in (["which", "is"], ["that", "is"], ["which", "was"])
    return led and before[-3:-2] in (["#mass"], ["#amount"])


def _joins_two(sentence: Sentence, hit: cues.Hit, index: int) -> bool:
    """ "Lidocaine mixed with bupivacaine 10 mL": behind two drugs of which the first has no amount, that of both."""
    drugs = [*base.mentions(sentence, "drugs")]
    first = next((m for m in drugs if m.last == hit.first - 1), None)
    second = next((m for m in drugs if m.last == index - 1 and m.first == hit.last + 2), None)
    led = [token.norm for token in sentence.tokens[hit.last + 1 : hit.last + 2]] == ["with"]
    return led and first is not None and second is not None and not _has_amount(sentence, first, index)


def _has_amount(sentence: Sentence, drug: Mention, but: int) -> bool:
    """Whether a drug has an amount of its own right before or behind its name, other than the number at `but`."""
    tokens = sentence.tokens
    for at in range(max(0, drug.first - _TO_AMOUNT), min(len(tokens), drug.last + 2)):
        quantity = tokens[at].quantity
        if at == but or quantity is None or quantity.dimension not in _OWN:
            continue
        between = {token.norm for token in tokens[at + 1 : drug.first]}
        if at > drug.last or not between & (_JOINED | {","}):
            return True
    return False


_TO_DRUG, _TO_AMOUNT = 5, 4  # tokens
_SORT = frozenset({"plain", "heavy", "percent", "half", "quarter", "a", "the", "sterile", "normal"})
_STRENGTH = frozenset({"fraction", "concentration", "mass_concentration"})


def is_total(sentence: Sentence, index: int) -> bool:
    """Whether a volume is told as a sum: "in all", or "5 mL bupivacaine + 25 mL saline = 31 mL"."""
    if cues.scale(sentence, index) == "total":
        return True
    tokens = sentence.tokens
    if index > 1 and tokens[index - 1].norm == "so" and (own := tokens[index].quantity) is not None and any(
        one.unit == own.unit and cues.scale(sentence, at) == "each" for at, one in base.quantities(sentence, "volume")
        if at < index
    ):
        return True  # "two millilitres in the skin at each, so twelve millilitres"
    led = index > 1 and tokens[index - 1].norm in ("=", "equals", "makes", "making")
    if not led or tokens[index - 2].quantity is not None:
        return False
    return len({m.id for m in base.mentions(sentence, "drugs", "fluids") if m.last < index}) > 1


def sums(sentence: Sentence, index: int) -> bool:
    """ "1.8 mL so 7.2 mL": right behind a number of the same drug, and no mixture of all that were named."""
    tokens = sentence.tokens
    led = index > 1 and tokens[index - 1].norm in ("so", "=") and tokens[index - 2].quantity is not None
    return led and cues.scale(sentence, index - 2) == "each"


def _holds_parts(sentence: Sentence, index: int) -> bool:
    """ "5 mL (lidocaine 2% 3 mL + bupivacaine 0.5% 2 mL)": the whole, with its parts in brackets behind it."""
    tokens, own = sentence.tokens, sentence.tokens[index].quantity
    if own is None or own.dimension != "volume" or [token.norm for token in tokens[index + 1 : index + 2]] != ["("]:
        return False
    end = next((at for at in range(index + 2, len(tokens)) if tokens[at].norm == ")"), len(tokens))
    parts = [one.value for at, one in base.quantities(sentence, "volume") if index < at < end and one.value is not None]
    return len(parts) > 1 and sum(parts) == own.value


def _sums_up(sentence: Sentence, index: int) -> bool:
    """ "One mil of bupivacaine with triamcinolone one mil, so two mils": led by "so", what two drugs come to."""
    own, tokens = sentence.tokens[index].quantity, sentence.tokens
    if own is None or own.value is None or not index or tokens[index - 1].norm not in ("so", "makes", "making"):
        return False
    told = [one.value for at, one in base.quantities(sentence, "volume") if at < index and one.value is not None]
    drugs = {mention.id for mention in base.mentions(sentence, "drugs") if mention.first < index}
    return len(drugs) > 1 and any(sum(told[-many:]) == own.value for many in range(2, len(told) + 1))


_OWN = frozenset({"volume", "mass", "amount", "catalytic", ""})  # "fifty mics of fentanyl and one fifty of propofol"


def partner(sentence: Sentence, index: int, event: Event, events: list[Event]) -> Event | None:
    """Another drug joined to this one by "and" that has no volume of its own, after "20 mL of"."""
    if event.mention.first < index:
        return None
    for other in events:
        if other is event or other.additive or other.mention.first <= event.mention.last:
            continue
        if "adjuvant" in other.drug.classes:
            continue  # "four mils of lidocaine with hyaluronidase"
        between = sentence.tokens[event.mention.last + 1 : other.mention.first]
        joined = any(token.norm in ("and", "plus", "with", "+", "&") for token in between)
        own = any(token.quantity is not None and token.quantity.dimension in _OWN for token in between)
        after = sentence.tokens[other.mention.last + 1 : other.mention.last + 2]
        own = own or any(token.quantity is not None for token in after)
        if joined and not own and len(between) <= 3:
            return other
    return None


_LINKS = frozenset({"and", "with", "plus", "+", "&", ","})
_INJECTED = frozenset({"local_anaesthetic", "steroid", "viscosupplement"})
_MOST = 100  # mL beside a drug for a joint; more rinses (common practice, no source)


def is_mixed_in(sentence: Sentence, mention: Mention, drugs: Mapping[str, Drug]) -> bool:
    """ "Five mils of lidocaine and thirty mils of saline", "thirty mils of saline into the joint": a diluent with a
    volume of its own, joined to a drug that is injected or put into something."""
    tokens = sentence.tokens
    at = mention.first - 1 - (mention.first > 0 and tokens[mention.first - 1].norm == "of")
    quantity = tokens[at].quantity if at >= 0 else None
    if quantity is None or quantity.unit != "mL" or (quantity.value or 0) > _MOST:
        return False
    if "".join(token.norm for token in tokens[mention.last + 1 : mention.last + 2]) == "into":
        return True
    if tokens[at - 1].norm not in _LINKS:
        return False
    return any(
        other.table == "drugs" and other.last < at and _INJECTED & set(drugs[other.id].classes)
        for other in sentence.mentions
    )
