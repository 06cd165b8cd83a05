"""Which numbers go on about a drug that already has one."""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline import cues, owners
from pipeline.extractors import _beside_amount, _drug_apart
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence

_TOKENS, _TAIL, _HARMLESS = 16, 8, frozenset({"routes", "events"})
_STOPPERS = frozenset({".", ";", "while", "but", "after", "before", "next"})
_LINKS = frozenset(
    ", ( ) : = - / that is which makes make equals equal equalling or so giving given in total a of altogether to at "
    "i.e. ie x the dose total: totalling was were used as and for volume concentration strength plain heavy solution "
    "hyperbaric isobaric preservative free buffered viscous".split()
)


_OF_DAY = re.compile(r"^0\d[0-5]\d$")


def is_bare_dose(sentence: Sentence, index: int, drugs: list[Mention]) -> bool:
    """ "Enoxaparin forty for six weeks": the unit was not said. Not "heparin two vials"."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.form != "number" or not any(drug.last == index - 1 for drug in drugs):
        return False
    if _OF_DAY.match(sentence.tokens[index].text):
        return False  # "cefazolin 0850": a time of day
    if _is_share(sentence, index):
        return False
    after = sentence.tokens[index + 1 : index + 2]
    often = bool(after) and after[0].quantity is not None and after[0].quantity.form == "interval"
    behind = sentence.tokens[index + 2 : index + 3]
    count = after[0].quantity if after else None
    if count is not None and count.form == "number" and not count.unit and behind and behind[0].norm == "times":
        return True  # "ibuprofen six hundred three times daily"
    if count is not None and count.unit in ("{tablet}", "{capsule}"):
        return True  # "Norco five one tablet": the strength of each
    if after and after[0].norm == "no":  # "dexamethasone eight no antibiotics"; "eight no four" may be a correction
        named = any(mention.first == index + 2 for mention in sentence.mentions)
        return bool(behind) and behind[0].quantity is None and named
    return not after or after[0].punctuation or after[0].norm in _AFTER_DOSE or often


_AFTER_DOSE = frozenset(
    {"he", "she", "for", "daily", "twice", "once", "given", "with", "plus", "into", "in",
     "was", "were", "and", "iv", "im", "sc", "at", "bd", "od", "tds", "bid",
     "tid", "every", "then", "before", "on", "intravenously", "nightly", "qds", "qid", "prn", "until", "up"}
)  # fmt: skip


def _is_share(sentence: Sentence, index: int) -> bool:
    """ "Twelve mils of one percent lidocaine eight at the wrist and four at the thumb": with a place each, the bare
    numbers come to the volume before them."""
    tokens = sentence.tokens
    volume, shares = None, Decimal(0)
    for at, token in enumerate(tokens[:-1]):
        quantity = token.quantity
        if quantity is None or quantity.value is None:
            continue
        if quantity.dimension == "volume" and at < index:
            volume = quantity.value
        elif at >= index and not quantity.dimension and tokens[at + 1].norm in _PLACES:
            shares += quantity.value
    return volume is not None and volume == shares


_PLACES = frozenset("at in into on around behind under to above below along through over".split())


def is_of_another(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Steroid eighty milligrams with four mils of half percent marcaine": the number follows a word of its own, and
    the drug ahead comes after "with" and a number that is its own. "Cefazolin at induction, two mils of blue dye": it
    is of what its "of" names."""
    if drug.last < index and _is_drawn(sentence, index, drug):
        return True
    if drug.last < index and any(m.table == "preparations" and m.last == index - 1 for m in sentence.mentions):
        return True  # "hyaluronidase 150 units povidone 5 %"
    if drug.last < index and (
        owners.begins_another(sentence.tokens, index, drug.last) or _is_led_by_another(sentence, index, drug)
    ):
        return True
    if drug.last < index:
        quantity = sentence.tokens[index].quantity
        if quantity is not None and quantity.dimension == "volume" and sentence.tokens[index - 1].norm == "all" and (
            sentence.tokens[index - 2].punctuation or sentence.tokens[index - 2].norm in ("and", "then")
        ):
            return True  # "80 mg with ropivacaine 5 mL, all 7 mL into the joint": the whole syringe
        after = sentence.tokens[index + 1 : index + 3]
        return len(after) == 2 and after[0].norm == "of" and after[1].norm.isalpha() and after[1].quantity is None and (
            after[1].norm not in _SAME_DRUG
        )
    between = sentence.tokens[index + 1 : drug.first]
    if index < drug.first and [token.norm for token in between[:2]] in (["a", "day"], ["per", "day"]):
        return True  # "drains out under thirty millilitres a day cefazolin for twenty four hours"
    own = sentence.tokens[index].quantity
    if index < drug.first and own is not None and own.dimension in ("mass_concentration", "concentration") and (
        [token.norm for token in between if token.norm != "the"] == ["in"]
    ):
        return True  # "ancef, five milligrams per mil in the contrast"
    no_names = _NO_NAMES | _LINKS | _NO_DRUG | _MORE
    if _drug_apart.is_apart(sentence, index, drug) or _drug_apart.of_short_name(sentence, index, drug, no_names) or (
        _drug_apart.is_led_and_apart(sentence, index, drug, _LINKS)
    ):
        return True
    if [token.norm for token in between] == ["with"] and any(
        token.norm in ("cement", "pmma", "beads", "spacer") for token in sentence.tokens[max(0, index - 5) : index]
    ):
        return True  # "one pack of cement, 40 g with gentamicin"
    joined = next((at for at, token in enumerate(between) if token.norm in ("with", "plus", "and", "then")), None)
    if joined is None or not index or not any(token.quantity is not None for token in between[joined:]):
        return False
    before = sentence.tokens[index - 1]
    return before.norm.isalpha() and before.quantity is None and before.norm not in _NO_NAMES and not any(
        token.quantity is not None for token in between[:joined]
    )


def _is_drawn(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Lido 1% 8 mL, 11G, 10 x 5 mL = 50 mL" at a crest: behind the needle come the draws."""
    beside = {token.norm for token in sentence.tokens[max(0, index - 1) : index + 2]}
    needle = any(token.norm == "#gauge" for token in sentence.tokens[drug.last + 1 : index])
    return needle and bool(beside & {"x", "\u00d7", "=", "draws", "pulls"}) and sentence.says(_MARROW)


_MARROW = frozenset("psis asis crest crests bma marrow aspirate bmac".split())


def _is_led_by_another(sentence: Sentence, index: int, drug: Mention) -> bool:
    """ "Gentamicin 240 mg + amox 1 g", "lidocaine 1 %, PI 5 %": behind a number of the drug a sign or a joining word
    brings in a name that no row has, and the number right behind it is of that name."""
    tokens = sentence.tokens
    at = index - 1
    if at - 1 > drug.last and tokens[at].norm in _COLLECTED and any(
        token.norm in (",", ";", ")") for token in tokens[drug.last + 1 : at]
    ):
        return True  # "1 mg adrenaline), aspirate 340 mL"
    if at - 1 <= drug.last or not tokens[at].norm.isalpha() or tokens[at].quantity is not None:
        return False
    if tokens[at - 1].norm not in _BRINGS_IN or tokens[at].norm in _NO_NAMES | _LINKS | _MORE | _NO_DRUG or (
        tokens[at].norm.endswith(("ly", "ed", "ing"))
        or any(mention.first <= at <= mention.last for mention in sentence.mentions)
    ):  # fmt: skip
        return False
    return any(token.quantity is not None for token in tokens[drug.last + 1 : at])


_COLLECTED = frozenset("aspirate aspirated lipoaspirate drained urine ebl loss output drainage effluent".split())
_BRINGS_IN = frozenset({"+", "plus", ",", "and", "&"})
_NO_DRUG = frozenset(
    "redose redosed repeat repeated "
    "bolus boluses infusion then now later again each both max maximum up dose doses half once twice iv im sc po "
    "at over per every last first loading maintenance mixture sum volumes strength here after before until overall "
    "on by from to intravenous intramuscular subcutaneous oral spinal epidural skin deep superficial followed "
    "she he patient we i it they you".split()
)
_SAME_DRUG = frozenset(
    "it this that these those them the a an which each same local solution mixture anaesthetic anesthetic plain heavy "
    "hyperbaric isobaric preservative free buffered viscous dilute diluted undiluted half quarter".split()
)
_NO_NAMES = frozenset(
    "of with and gave given injected used a the about was were then plus by total block infiltrated in".split()
)


def of_the_same(sentence: Sentence, index: int, drugs: list[Mention]) -> Mention | None:
    """ "A ring block with five mils of the same": the drug that was told last, of which there is more."""
    after = [token.norm for token in sentence.tokens[index + 1 : index + 5]]
    same = after[:3] == ["of", "the", "same"] or after[:1] == ["same"] or after[:2] == ["the", "same"]
    tail = after[3:4] if after[:1] == ["of"] else []
    before = [drug for drug in drugs if drug.last < index and sentence.tokens[drug.first - 1].norm not in _NOT_WITH]
    if not same or tail in (["size"], ["sort"], ["length"], ["kind"]) or not before:
        return None
    plain = [drug for drug in before if drug.id not in ("adrenaline", "epinephrine")]
    return plain[-1] if plain else None


def said_together(sentence: Sentence, drug: Mention) -> tuple[str, ...]:
    """The doubt of "ropivacaine 20 mL + ketorolac 30 mg; 10 mL of the same": the last of several that a sign joins."""
    others = [m for m in sentence.mentions if m.table == "drugs" and m.last < drug.first]
    joined = bool(others) and any(
        token.norm in ("+", "plus", "with", "&") for token in sentence.tokens[others[-1].last + 1 : drug.first]
    )
    return ("may be of all that was said together",) if joined else ()


def is_taken_off(sentence: Sentence, index: int) -> bool:
    """ "Twenty millilitres off", "so thirty one in total" right behind it: what was drained from a joint."""
    tokens = sentence.tokens
    if index + 1 < len(tokens) and tokens[index + 1].norm == "off" and (
        index + 2 >= len(tokens) or tokens[index + 2].norm not in ("label", "the")
    ):
        return True
    before = next((at for at in range(index - 1, max(-1, index - 6), -1) if tokens[at].quantity is not None), None)
    led = before is not None and {token.norm for token in tokens[before + 1 : index]} & {"so", "makes", "that's"}
    return bool(led) and before is not None and tokens[before + 1].norm == "off"


_NOT_WITH = frozenset({"no", "without", "nor", "not"})


def _is_harmless(other: Mention) -> bool:
    return other.table in _HARMLESS or (other.table == "drugs" and other.id in ("adrenaline", "epinephrine"))


def is_of_the_mixture(sentence: Sentence, index: int, adrenaline: Mention) -> bool:
    """ "Lidocaine 1 % with epinephrine 1:100,000 (100 mg)": the ratio has told how much adrenaline there is, and more
    than a milligram is the local anaesthetic's. So it is where adrenaline is only said to be in it."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or quantity.value is None or quantity.unit not in ("mg", "g") or quantity.value <= 1:
        return False
    beside = sentence.tokens[max(0, adrenaline.first - 3) : adrenaline.last + 4]
    added = adrenaline.first > 0 and sentence.tokens[adrenaline.first - 1].norm in _ADDED and any(
        m.table == "drugs" and 0 < adrenaline.first - m.last <= _IN_ONE for m in sentence.mentions
    )
    apart = {token.norm for token in sentence.tokens[adrenaline.last + 1 : index]}
    if adrenaline.last < index and added and apart & {"(", ",", "=", "so", "makes", "making"}:
        return True  # without a mark, "with adrenaline 100 milligrams" says it of the adrenaline
    return adrenaline.last < index and any(
        token.quantity is not None and "ratio" in (token.quantity.form, token.quantity.dimension) for token in beside
    )


_ADDED = frozenset({"with", "w/", "+", "plus", "and", "/", "containing"})
_IN_ONE = 6  # tokens between a local anaesthetic and what is in it


_WHOLE = frozenset({"altogether", "total", "together"})


def said_on(sentence: Sentence, index: int, drug: Mention) -> bool | None:
    """Whether the number at `index` is one more of the drug before it: "ropivacaine 0.2 %, 20 mL, that is 400 mg".

    True where only joining words stand between it and the drug's last number, False where others do, None where it is
    none of the drug's.
    """
    between = sentence.tokens[drug.last + 1 : index]
    numbers = [at for at, token in enumerate(between) if token.quantity is not None]
    ahead = sentence.tokens[max(0, drug.first - 2) : drug.first]
    if not numbers and any(token.quantity is not None for token in ahead):
        numbers = [-1]  # "3 mL of 2 % lidocaine plain, 60 mg"
    if not numbers or len(between) > _TOKENS:
        return None
    # "four millilitres behind each ear, eight millilitres altogether": the whole is of the drug, wherever it went
    summed = bool(_WHOLE & {token.norm for token in sentence.tokens[index + 1 : index + 2]})
    if any(drug.last < other.first and other.last < index and not _is_harmless(other)
           and not holds(sentence, other) and not (summed and other.table in ("sites", "sides"))
           for other in sentence.mentions):  # fmt: skip
        return None
    tail = _without_container([token.norm for token in between[numbers[-1] + 1 :]])
    if set(tail) & _STOPPERS or len(tail) > _TAIL:
        return None
    if tail[-1:] == ["("] and cues.scale(sentence, index) == "total":
        return True  # "40 mg on each side (80 mg)"
    return all(norm in _LINKS for norm in tail)


_CONTAINERS = frozenset("syringe syringes tube tubes bag bags needle needles kit trocar cannula line".split())


def holds(sentence: Sentence, thing: Mention) -> bool:
    """Whether a thing is what a drug was drawn up into: "in the syringes"."""
    led = {token.norm for token in sentence.tokens[max(0, thing.first - 3) : thing.first]} & {"in", "into"}
    return thing.table == "devices" and bool(led) and sentence.tokens[thing.last].norm in _CONTAINERS


def _without_container(tail: list[str]) -> list[str]:
    """ "Eight millilitres in the syringes, eight thousand units": where it is says nothing of whose number follows."""
    end = next((at for at, norm in enumerate(tail) if norm in _CONTAINERS), None)
    return tail[end + 1 :] if end is not None and end <= 4 and tail[0] in ("in", "into", "to", "for") else tail


_MORE = frozenset({"second", "third", "another", "further", "repeat", "repeated", "again", "additional", "redosed"})
_WHEN = frozenset("at before after during prior later on topically topical orally iv intravenously locally".split())
_FURTHER = 30  # tokens


def said_again(sentence: Sentence, index: int, drug: Mention, *, total: bool) -> bool | None:
    """Whether the number at `index` is a further giving of the drug before it, or all of them together: "1 g before
    the incision, second 1 g at closure, 2 g in total". Only a number of the same unit is; not surely so where only its
    place is told ("10 mL in the wound and 5 mL in the portals"): False. None where it is none."""
    quantity = sentence.tokens[index].quantity
    between = sentence.tokens[drug.last + 1 : index]
    if quantity is None or quantity.unit is None or len(between) > _FURTHER:
        return None
    if any(drug.last < other.first and other.last < index and other.table in _OTHERS
           and not _WHEN & {token.norm for token in sentence.tokens[other.first - 2 : other.first]}
           for other in sentence.mentions):  # fmt: skip
        return None  # but "one gram before the cuff and one gram at the end"
    if not any(token.quantity is not None and token.quantity.unit == quantity.unit for token in between):
        return None
    before = [token.norm for token in sentence.tokens[max(0, index - 3) : index]]
    after = sentence.tokens[index + 1].norm if index + 1 < len(sentence.tokens) else ""
    joined = before[-1] in ("and", "then", "plus", ",")
    if total or (joined and after in _WHEN) or _MORE & set(before):
        return True
    return False if joined and after in _PLACES and quantity.unit == "mL" else None


def is_repeat(sentence: Sentence, index: int, first: Mention) -> bool:
    """ "Cefazolin two grams at seven fifty and a second two grams four hours later": once more of what was given."""
    quantity = sentence.tokens[index].quantity
    if quantity is None or first.last > index:
        return False
    before = {token.norm for token in sentence.tokens[max(0, index - 2) : index]}
    return bool(before & _MORE) and any(
        token.quantity is not None and token.quantity.unit == quantity.unit
        for token in sentence.tokens[first.last + 1 : index]
    )


_OTHERS = frozenset({"drugs", "fluids", "devices", "injectates", "specimens", "measures"})
_REACTS = 12  # tokens after the word for an allergy
_THEREFORE = frozenset({"so", "therefore", "hence", "instead", "thus", "gave", "given", "received", ";", "."})



def allergic_to(sentence: Sentence, first: int, last: int, drug: Mention) -> bool:
    """Whether the word for an allergy at tokens first..last is said of a drug: "penicillin allergy", "allergic to
    penicillin", but not of what was given because of it ("allergic to penicillin, so clindamycin")."""
    if drug.last < first:
        between = sentence.tokens[drug.last + 1 : first]
        return False if any(token.norm in _THEREFORE for token in between) else drug.last >= first - 1
    if any(token.norm in _NONE for token in sentence.tokens[max(0, first - 3) : last + 1]):
        return False
    others = [m for m in sentence.mentions if m.table == "drugs" and m.first != drug.first]
    if any(other.last == first - 1 for other in others):
        return False  # "penicillin allergy, clindamycin 900 mg"
    if any(_has_dose(sentence, one) for one in (drug, *(m for m in others if last < m.first < drug.first))):
        return False  # "because of the allergy clindamycin nine hundred milligrams": what was given instead
    between = sentence.tokens[last + 1 : drug.first]
    return drug.first - last < _REACTS and not any(token.norm in _THEREFORE for token in between)


def _has_dose(sentence: Sentence, drug: Mention) -> bool:
    """Whether an amount stands right behind a drug, or it is told to be given."""
    after = sentence.tokens[drug.last + 1 : drug.last + 3]
    amount = bool(after) and after[0].quantity is not None and after[0].quantity.dimension in _AMOUNTS | {""}
    return amount or [token.norm for token in after] in (["was", "given"], ["was", "used"], ["was", "administered"])


_AMOUNTS = frozenset({"mass", "amount", "catalytic", "molar", "volume"})
_NONE = frozenset({"no", "nil", "denies", "without", "nkda"})
_SAYING = frozenset({"of", "was", "were", "had", "been", "is", ",", "(", ")", "and", "then", "all", "percent", "%"})


def says_of(sentence: Sentence, drug: Mention, verb: int) -> bool:
    """Whether a verb after a drug is its own: nothing but the drug's numbers stands between
    ("ropivacaine 0.2 percent, twenty millilitres, was prepared")."""
    between = sentence.tokens[drug.last + 1 : verb]
    given = any(token.norm in _GIVEN for token in sentence.tokens[verb : verb + 5])
    own = all(token.quantity is not None or token.norm in _SAYING for token in between)
    return drug.last < verb and own and not given


_GIVEN = frozenset({"given", "injected", "administered", "infiltrated", "instilled", "and"})


def of_container(sentence: Sentence, grammar: Grammar, index: int) -> bool:
    """ "10 mL syringe": the size of the syringe, not a volume given; nor what fills the balloon of a catheter, nor
    what came out of a joint."""
    if index > 1 and sentence.tokens[index - 1].norm in _BOUND and any(
        m.table == "measures" and m.last == index - 2 for m in sentence.mentions
    ):
        return True  # "if hb under seventy two units": a bound of what is measured, and no dose
    strength = sentence.tokens[index].norm in ("#mass_concentration", "#concentration")  # "a 40 mg/mL ampoule"
    held = not strength and any(hit.first == index + 1 for hit in cues.hits(sentence, grammar, "container"))
    if held and index and sentence.tokens[index - 1].norm in ("x", "\u00d7"):
        return False  # "2 x 2.2 mL cartridges"
    liquid = sentence.tokens[index].norm != "#mass"  # "one gram before the cuff and one gram at the end"
    held = held or (liquid and cues.fills_balloon(sentence, index)) or owners.is_of_parts(sentence.tokens, index)
    return held or _beside_amount.comes_out(sentence, index)


_BOUND = frozenset({"under", "below", "over", "above", "less", "than", "<", ">"})


def is_said_again(sentence: Sentence, index: int) -> bool:
    """ "10 ml of 0.5 %, i.e. 10 ml in all": the same number, told as the same."""
    norms = [token.norm for token in sentence.tokens[max(0, index - 2) : index]]
    here = sentence.tokens[index].quantity
    return norms[-1:] in (["ie"], ["i.e."]) and here is not None and any(
        token.quantity is not None and (token.quantity.value, token.quantity.unit) == (here.value, here.unit)
        for token in sentence.tokens[:index]
    )
