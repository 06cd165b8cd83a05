"""Numbers that were said and stand in no entry of the note: they are only in the description."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise

from pipeline import quantities, tokens
from pipeline.checks import base
from pipeline.checks.base import called, finding
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Evidence, Fact, Finding, Severity
from pipeline.rows import Drug

MEANING = "A number was said that no entry of the note holds, and it counts nothing; beside a drug it may be a dose."

_GIVEN = frozenset({
    "mass", "amount", "catalytic", "molar", "volume", "fraction", "concentration", "mass_concentration", "rate",
    "ratio", "",
})  # fmt: skip
_NEAR = 12  # words between the number and the drug
# Things that a number may be of as well as a drug: the nearest takes it ("2 x 40 g cement with gentamicin").
_THINGS = frozenset({
    "preparation", "device", "complication", "blood_loss", "finding", "fluid_in", "fluid_out", "specimen", "dressing",
    "irrigation_in", "irrigation_out", "suture", "injection", "harvest_site",
})  # fmt: skip
_BARE = 3  # words between a number without a unit and the drug
# "In 1 L" after a dose is what it was diluted in; "per cassette" is no dose of its own.
_CARRIER = frozenset({"in", "into"})
# "2 mL preservative-free saline", "2 L of CO2": what it is of stands right behind it, and is no drug.
_PLAIN = frozenset({"saline", "co2", "water", "gas", "blood", "marrow", "aspirate"})
_COMES_TO = frozenset({"=", "makes", "making", "gives", "that's", "so"})
# "Two cartridges": what it came in was counted, no amount of it.
_CONTAINERS = frozenset({
    "cartridge", "cartridges", "vial", "vials", "ampoule", "ampoules", "ampule", "ampules", "syringe", "syringes",
    "bottle", "bottles", "bag", "bags", "tube", "tubes", "drop", "drops", "swab", "swabs", "patch", "patches",
    "bolus", "boluses", "doses", "injections", "aliquots", "puffs",
})  # fmt: skip
_VESSELS = frozenset({"syringe", "syringes", "tube", "tubes", "bag", "bags", "bottle", "bottles", "kit", "kits"})
_TISSUE = frozenset({"tissue", "pus", "fluid", "clot", "effusion", "bone", "fat", "mucus", "debris", "urine", "bile"})
_OFTEN = frozenset({"times", "time", "hourly", "hrly", "daily", "x"})
_LEADS_ON = frozenset({"of", "percent", "per", "plain", "heavy", "half", "units", "doses", "shots", "and", "to", "or"})
# What a limb may carry or pulls at it; no drug is given by it.
_HEAVY = re.compile(r"\b(?:kg|kilos?|kilograms?|lbs?|pounds?)\b")
_LITRES = re.compile(r"\b(?:l|litres?|liters?)\b")
_CONTRAST = "contrast"  # "Isovue 300": the number is part of the name


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    for passage in note.sections.description:
        quiet: list[Evidence] = []
        for piece in passage.unplaced:
            drug = _drug(note, passage, piece)
            if drug is None or not _may_be_given(drug, passage, piece, grammar) or (
                _has_own(note, drug, passage, piece)
            ):
                quiet.append(piece)
                continue
            # What is ordered without a unit is asked for by its own; what was given may be a dose.
            ordered = drug.status == "planned" and not _dimension(piece)
            found.append(
                _told("note" if ordered else "warning", [piece],
                      f"“{piece.heard}” was said beside {called(drug, grammar)} and stands in no entry.",
                      "Say what it was: a dose, a volume or a strength, and of which drug.", [drug])
            )  # fmt: skip
        if quiet:
            heard = ", ".join(f"“{piece.heard}”" for piece in quiet)
            found.append(
                _told("note", quiet, f"Said, and in no entry of the note: {heard}.",
                      "Say what it measures, or leave it in the description.", [])
            )  # fmt: skip
    return found


_LESS = re.compile(r"(?:under|below|less than|<)", re.IGNORECASE)
_TUBES, _TO_TUBE = frozenset("drain drains tube tubes catheter output".split()), 10
_CARE = frozenset("drain drains if tomorrow tonight clinic home ward recovery stitches catheter".split())


def _told(severity: Severity, pieces: list[Evidence], message: str, ask: str, facts: list[Fact]) -> Finding:
    about = "+".join(f"w{piece.first}" for piece in pieces)
    made = finding("unplaced_number", severity, message, facts, ask=ask, about=about)
    return Finding(
        made.check, made.severity, made.message, made.key, made.ask, made.arithmetic, made.facts,
        (*pieces, *made.evidence),
    )  # fmt: skip


_OF_DRUG = {"volume": "medication_volume", "mass": "medication_dose", "amount": "medication_dose"}
_MIXED_IN = frozenset({"with", "containing"})


def _has_own(note: OperativeNote, drug: Fact, passage: Passage, piece: Evidence) -> bool:
    """Whether an amount with its unit is of something else than the drug behind it: the drug has one of that sort
    nearer ("200 mL a side, each with 10 mL of lidocaine"), or was mixed into it ("cement 40 g with tobramycin")."""
    dimension = _dimension(piece)
    kind = _OF_DRUG.get(dimension)
    own = [fact for fact in note.of(kind) if fact.group is not None and fact.group == drug.group] if kind else []
    if dimension != "volume":
        if _is_half(own, passage, piece):
            return True
        own = []  # another dose beside the first is asked for
    elif piece.heard.startswith("("):  # "dexamethasone 10 mg (1 mL)"
        own += [fact for fact in note.of("medication_dose") if fact.group is not None and fact.group == drug.group]
    if any(fact.value is not None and fact.unit is not None for fact in own):
        return True  # "20 mL of 0.5 % bupivacaine; 5 mL more was drawn up and wasted": it has its amount
    if kind is None or piece.first > drug.evidence.first:
        return False
    if any(fact.name == drug.name and passage.holds(fact) and piece.last < fact.evidence.first <= drug.evidence.first
           for fact in note.of(kind)):  # fmt: skip
        return True
    before = passage.text.lower().split()[: drug.evidence.first - passage.evidence.first]
    return bool(before) and before[-1] in _MIXED_IN


def _is_half(own: list[Fact], passage: Passage, piece: Evidence) -> bool:
    """ "Bupivacaine (266 mg) diluted to 40 mL; half each side (133 mg)": what each of two got."""
    told = next((token.quantity for token in base.tokenized(piece.heard) if token.quantity is not None), None)
    return told is not None and told.value is not None and base.EACH_OF_TWO.search(passage.text) is not None and any(
        fact.value == 2 * told.value and fact.unit == told.unit for fact in own
    )


def _drug(note: OperativeNote, passage: Passage, piece: Evidence) -> Fact | None:
    """The drug of the same sentence that is said nearest to the number, unless something else is nearer."""
    near = [
        (_words_between(fact, piece), fact.kind != "medication", fact.id, fact)
        for fact in note.facts
        if passage.holds(fact) and (
            (fact.kind == "medication" and fact.certainty != "negated") or (fact.kind in _THINGS and fact.value is None)
        )
    ]
    if not near or min(near)[0] > _NEAR:
        return None
    fact = min(near)[3]
    return fact if fact.kind == "medication" else None


def _words_between(fact: Fact, piece: Evidence) -> int:
    return max(fact.evidence.first - piece.last, piece.first - fact.evidence.last)


def _may_be_given(drug: Fact, passage: Passage, piece: Evidence, grammar: Grammar) -> bool:
    """Whether the number may be an amount or a strength of the drug."""
    dimension = _dimension(piece)
    if _tells_time(passage, piece):
        return False  # "tranexamic acid one gram eight ten"
    if dimension not in _GIVEN or _HEAVY.search(piece.heard.lower()):
        return False
    row = grammar.table("drugs", Drug).get(drug.name or "")
    before, after = _beside(passage, piece)
    taken_off = after[:1] == ["off"] or (before[-1:] == ["so"] and "off" in before[-3:])
    if taken_off or (after[:1] == ["of"] and after[1:2] and after[1] in _TISSUE):
        return False  # "twenty millilitres off", "three millilitres of tissue"
    if before[-2:] in (["after", "each"], ["after", "every"]):
        return False  # "repositioned after each five mils": how often
    if before[-1:] and before[-1] in _COMES_TO and {"blood", "marrow", "aspirate"} & set(before[-5:]):
        return False  # "6 mL ACD-A + 54 mL blood = 60 mL": what both come to
    if before[-1:] in (["x"], ["\u00d7"], ["times"]) and after[:1] == ["="]:
        return False  # "5 x 4 mL = 20 mL bupivacaine": what they come to stands
    if dimension == "fraction" and row is not None and not any("%" in one for one in row.strengths):
        return False  # "chlorhexidine 0.2% bd, ibuprofen 400 mg": no drug that comes in shares
    if dimension == "fraction" and after[:2] == ["of", "the"]:
        return False  # "under ten percent of the hottest"
    if dimension == "fraction" and (set(before[-2:]) & _SURFACE or set(after[:2]) & _BURNT):
        return False  # "chest six percent, arm three percent, so nine percent excised"
    given = dimension in ("mass", "amount", "catalytic")
    if given and _IN_ALL & set(after[:2]) and _is_multiple(passage, before, piece):
        return False  # "one gram before each cuff went down, two grams altogether"
    if given and _is_worked_share(before, piece):
        return False
    if given and _has_a_name(passage, piece, ahead=piece.first < drug.evidence.first):
        return False  # "ibuprofen 200 mg, para 300 mg": of a name that no row has
    if dimension == "volume" and set(after[:1]) & _VESSELS:
        return False  # "60 mL syringes": how much one holds
    if dimension == "volume" and before[-1:] == ["of"] and set(before[-2:-1]) & _CONTAINERS:
        return False  # "two cartridges of 2.2 mL": what one holds
    ahead = piece.first < drug.evidence.first
    if ahead and drug.status == "planned" and (
        before[-1:] in (["under"], ["below"]) or _CARE & set(after[: _words_between(drug, piece)])
    ):
        return False  # "urine clear, sixty mils an hour, drain out tomorrow if under fifty, enoxaparin forty"
    if dimension == "volume" and ahead and drug.status == "planned" and _is_dosed(passage, drug):
        return False  # "feeds thirty millilitres, paracetamol sixty milligrams every six hours"
    if set(before[-4:]) & _DRAINED or _LESS.match(piece.heard) and _TUBES & set(before[-_TO_TUBE:]):
        return False  # "drain out below thirty millilitres", "chest tubes out on day 2 if under 150 mL"
    if _is_taken_back(before, after, piece) or _is_asked(before) or _is_echo(before, piece):
        return False
    behind = piece.first > drug.evidence.last
    if behind and after[:1] == ["of"]:
        return False  # "cefazolin at induction, two mL of blue dye": of what follows
    if not dimension:
        if _is_share(passage, after) or after[:2] in (["per", "kilo"], ["a", "kilo"], ["per", "kg"]):
            return False
        if after[:2] in (["on", "each"], ["on", "either"], ["in", "each"]) and _words_between(drug, piece) > 1:
            return False  # "four pledgets soaked in oxymetazoline were placed, two on each side"
        if after[:1] in (["each"], ["per"]):
            return False  # "cotton with xylometazoline, two each side"
        if after[:1] and after[0] in _OFTEN:
            return False  # "ointment three times daily": how often, no dose
        if _CONTAINERS & {*before[-1:], *after[:1]}:
            return False
        counts = after[:1] and after[0].isalpha() and after[0] not in _LEADS_ON
        if counts and not behind and _words_between(drug, piece) > 1:
            return False  # "the lump and two nodes bupivacaine twenty millilitres": of the nodes
        if _is_double(passage, before, piece):
            return False
        if not behind and (_is_dosed(passage, drug) or _is_sum(passage, before, piece)):
            return False  # "outwards to sixty depomedrone forty milligrams": of what stands before
        contrast = row is not None and _CONTRAST in row.classes
        return _words_between(drug, piece) <= _BARE and not (contrast and behind)
    if _LITRES.search(piece.heard.lower()) and "of" not in after[:1] and _words_between(drug, piece) > _BARE:
        return False  # "twelve litres, twenty mils of quarter percent marcaine": what the joint was washed with
    if any(word in _PLAIN for word in after[:3]) or (before and before[-1] in _PLAIN):
        return False  # "bupivacaine 0.25% 9 mL, saline 20 mL"
    if dimension == "volume" and after[:1] == ["total"] and {"side", "each"} & set(before[-3:]) and _volumes(before):
        return False  # "tumescent 200 mL per side, 400 mL total"
    if dimension == "volume" and not behind and after[:1] == ["of"] and set(after[1:2]) & _fluid_words(grammar):
        return False  # "lifted with twelve mils of gelofusine and adrenaline"
    if dimension == "volume" and before[-1:] == ["total"] and len(_volumes(before)) > 1:
        return False  # "... 1 mL, bupivacaine 9 mL, saline 20 mL: total 30 mL": of all of them together
    return not (dimension == "volume" and behind and bool(before) and before[-1] in _CARRIER)


@lru_cache(maxsize=4)
def _fluid_words(grammar: Grammar) -> frozenset[str]:
    """One-word names of fluids and of what cavities are rinsed with."""
    rows = (*grammar.tables.get("fluids", {}).values(), *grammar.tables.get("irrigation", {}).values())
    return frozenset(phrase for row in rows for phrase in row.say if " " not in phrase)


_NO_NAME = frozenset(
    "and or then plus with of total max maximum up dose redose repeat to at in iv im po given for a".split()
)


def _has_a_name(passage: Passage, piece: Evidence, *, ahead: bool = False) -> bool:
    """Whether a word of its own, behind a comma or a sign, leads to the number. `ahead`: of the drug that is named,
    where the word may begin the sentence too."""
    words = passage.text.split()
    at = piece.first - passage.evidence.first
    if ahead and at == 1:
        return len(words[0]) > _SHORT and words[0].isalpha() and words[0].lower() not in _NO_NAME
    if not 1 < at <= len(words) - 1 or not words[at - 1].isalpha() or words[at - 1].lower() in _NO_NAME:
        return False
    return words[at - 2][-1:] in (",", ";", "+", ".")


_SHORT = 4  # letters of "Give 50 mg, lidocaine ...", which names nothing
_SURFACE = frozenset(
    "arm arms forearm forearms leg legs thigh thighs chest back trunk abdomen face neck head scalp hand hands foot "
    "feet buttock buttocks flank flanks perineum tbsa".split()
)
_BURNT = frozenset("excised debrided grafted burned burnt burn burns tbsa total".split())
_DRAINED = frozenset({"drain", "drains", "drainage"})


def _is_worked_share(before: list[str], piece: Evidence) -> bool:
    """ "20 U in 100 mL, 40 mL injected (8 U)": what the volume that was given holds of the dose."""
    told = [token.quantity for token in base.tokenized(" ".join(before)) if token.quantity is not None]
    own = next((token.quantity for token in base.tokenized(piece.heard) if token.quantity is not None), None)
    doses = [one.value for one in told if own is not None and one.unit == own.unit and one.value]
    volumes = [one.value for one in told if one.dimension == "volume" and one.value]
    return own is not None and len(doses) == 1 and len(volumes) == 2 and (
        own.value == doses[0] * volumes[1] / volumes[0]
    )


def _volumes(words: list[str]) -> list[Decimal]:
    told = [token.quantity for token in base.tokenized(" ".join(words)) if token.quantity is not None]
    return [one.value for one in told if one.dimension == "volume" and one.value is not None]


def _is_dosed(passage: Passage, drug: Fact) -> bool:
    """Whether a drug has an amount of its own right behind its name."""
    words = passage.text.split()[drug.evidence.last + 1 - passage.evidence.first :]
    read = base.tokenized(" ".join(words[:_BARE]))
    return bool(read) and read[0].quantity is not None and read[0].quantity.dimension in (
        "mass", "volume", "amount", "fraction", "concentration", "mass_concentration", ""
    )


def _is_double(passage: Passage, before: list[str], piece: Evidence) -> bool:
    """ "Both knees had forty milligrams of triamcinolone each so eighty altogether": twice the dose before it."""
    if before[-1:] not in (["so"], ["makes"], ["making"], ["is"]) or not base.EACH_OF_TWO.search(passage.text) and (
        "each" not in before[-_ECHO:]
    ):
        return False
    told = [token.quantity for token in base.tokenized(" ".join(before)) if token.quantity is not None]
    own = next((token.quantity for token in base.tokenized(piece.heard) if token.quantity is not None), None)
    last = next((one.value for one in reversed(told) if one.dimension in ("mass", "volume")), None)
    return own is not None and last is not None and own.value == last * 2


def _is_sum(passage: Passage, before: list[str], piece: Evidence) -> bool:
    """ "Fifty four of marrow onto six millilitres of ACD-A so sixty in the bag": the two amounts before it together."""
    if before[-1:] not in (["so"], ["makes"], ["making"], ["is"]):
        return False
    told = [token.quantity for token in base.tokenized(" ".join(before)) if token.quantity is not None]
    values = [one.value for one in told[-2:] if one.value is not None and one.dimension in ("", "volume")]
    own = next((token.quantity for token in base.tokenized(piece.heard) if token.quantity is not None), None)
    return own is not None and len(values) == 2 and sum(values) == own.value


_IN_ALL = frozenset({"altogether", "total", "all", "together"})


def _is_multiple(passage: Passage, before: list[str], piece: Evidence) -> bool:
    """Whether an amount is a whole multiple of the last one of its sort before it."""
    own = next((token.quantity for token in base.tokenized(piece.heard) if token.quantity is not None), None)
    told = [one for token in base.tokenized(" ".join(before)) if (one := token.quantity) is not None
            and own is not None and one.unit == own.unit and one.value]  # fmt: skip
    return bool(told) and own is not None and own.value is not None and own.value % (told[-1].value or 1) == 0


def _is_taken_back(before: list[str], after: list[str], piece: Evidence) -> bool:
    """ "Forty no she had fifty milligrams", "5.2 5.0 rather": the words put another number in its place."""
    if after[:1] and after[0] in ("no", "sorry", "actually", "correction"):
        return any(_number(word) for word in after[1:7])
    return "rather" in after[1:3] and _number(after[0])


def _number(word: str) -> bool:
    read = quantities.merge(tokens.tokenize(tokens.words_from_text(word)))
    return any(token.quantity is not None for token in read)


_QUESTION = frozenset({
    ("did", "you"), ("is", "it"), ("is", "that"), ("was", "it"), ("was", "that"), ("is", "this"), ("have", "we"),
    ("do", "you"), ("have", "you"),
})  # fmt: skip
_ASKED = 8  # words


def _is_asked(before: list[str]) -> bool:
    """ "Did you give me the one or the two percent": a question, which `queries` takes up where it is answered."""
    near = before[-_ASKED:]
    return any(pair in _QUESTION for pair in pairwise(near)) and "or" in near


def _is_echo(before: list[str], piece: Evidence) -> bool:
    """ "Eight milligrams he said yes eight": the number from before, said again."""
    said = piece.heard.lower().strip(".,;:()")
    return before[-1:] in (["yes"], ["right"], ["correct"], ["exactly"]) and said in before[-_ECHO:]


_ECHO = 10  # words


def _is_share(passage: Passage, after: list[str]) -> bool:
    """ "Twenty millilitres of lidocaine, ten at the midline and ten at the pocket": a share of the volume before it,
    told with its place, where the shares come to the whole."""
    if not after or after[0] not in _PLACES:
        return False
    volume, shares = None, Decimal(0)
    read = base.read(passage)
    for at, token in enumerate(read[:-1]):
        quantity = token.quantity
        if quantity is None or quantity.value is None:
            continue
        if quantity.dimension == "volume" and volume is None:
            volume = quantity.value
        elif quantity.dimension == "" and read[at + 1].norm in _PLACES:
            shares += quantity.value
    return volume is not None and volume == shares


_PLACES = frozenset({"at", "in", "into", "on", "around", "behind", "under", "to", "above", "below", "along", "for"})


def _beside(passage: Passage, piece: Evidence) -> tuple[list[str], list[str]]:
    """The words of a passage before and behind one of its pieces, in lower case and without marks."""
    words = [word.strip(".,;:()").lower() for word in passage.text.split()]
    said = [word.strip(".,;:()").lower() for word in piece.heard.split()]
    places = [at for at in range(len(words)) if words[at : at + len(said)] == said]
    if not places:
        lead, _, rest = passage.text.lower().partition(piece.heard.lower())
        return lead.split(), rest.split()
    at = min(places, key=lambda place: abs(place - (piece.first - passage.evidence.first)))
    return words[:at], words[at + len(said) :]


def _tells_time(passage: Passage, piece: Evidence) -> bool:
    return any(token.quantity is not None and token.quantity.form == "clock"
               and passage.evidence.first + token.first == piece.first for token in base.read(passage))


def _dimension(piece: Evidence) -> str:
    """What the unit of the words is of: "mass", "volume" ...; "" without a unit."""
    read = quantities.merge(tokens.tokenize(tokens.words_from_text(piece.heard)))
    return next((token.quantity.dimension for token in read if token.quantity is not None), "")
