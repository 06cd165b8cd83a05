"""Drawn up, filtered or harvested, and never said to be given."""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal

from pipeline import mentions
from pipeline.checks import _into, _portions
from pipeline.checks._mixed import mixtures_of
from pipeline.checks._portions import Portions
from pipeline.checks.base import added, amount, called, finding, given, plain, prepared, read, shown, span
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote
from pipeline.records import Fact, Finding, Sentence

MEANING = "Marrow was harvested or a drug prepared, and the note does not say that it was given or thrown away."

_KEPT = re.compile(
    r"\bnot (?:been )?(?:added|used|given|injected|needed|required|administered|instilled)\b|\bdiscarded\b|"
    r"\bthrown away\b|\bwasted\b",
    re.IGNORECASE,
)


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    portions = list(_portions.shared_out(note, grammar))
    more = _more(note, grammar)
    more += [] if more else _overshared(note, portions)
    spent = {drug for one in portions for drug in one.drugs}
    return _marrow(note) + _drugs(note, grammar, spent) + more + _products(note, grammar)


def _overshared(note: OperativeNote, portions: list[Portions]) -> list[Finding]:
    """ "Ten mils drawn up, six in the palm and eight at the wrist": shares that are more than there was, or with what
    was left do not come to it."""
    found: list[Finding] = []
    for one in portions:
        if not one.wrong or _is_told(note, one):
            continue
        there = amount(one.made.value or Decimal(0), one.made.unit)
        whole = amount(sum(one.shares, Decimal(0)), one.made.unit)
        told = finding(
            "prepared_not_given", "warning", f"{whole} were told of the {there} that were ready.",
            arithmetic=f"{' + '.join(plain(share) for share in one.shares)} = {whole}, ready: {there}",
            ask="Say which is right: what was drawn up, given or thrown away.",
            about=f"shares-{one.passage.evidence.first}",
        )  # fmt: skip
        found.append(replace(told, evidence=tuple(dict.fromkeys((one.passage.evidence, one.where.evidence)))))
    return found


def _more(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """More of a drug given than was said to be drawn up."""
    found: list[Finding] = []
    volumes = note.of("medication_volume", "medication_dose")
    for ready in [fact for fact in volumes if prepared(fact) and fact.certainty == "affirmed" and fact.unit]:
        unit = ready.unit or ""
        used = [fact for fact in given(note, ready.kind) if fact.group == ready.group and fact.name == ready.name]
        used += [] if used else _unnamed(note, ready)
        spans = [one for fact in used if (one := span(fact, unit)) is not None]
        there, went = span(ready, unit), added(spans)
        if not spans or len(spans) < len(used) or there is None or there.high is None or went.low is None:
            continue
        if went.low > there.high and not _with_added(note, ready, went.low - there.high):
            found.append(
                finding(
                    "prepared_not_given", "warning",
                    f"{called(ready, grammar)}: more was given than was drawn up.", [ready, *used],
                    arithmetic=f"{' + '.join(shown(fact) for fact in used)} > {shown(ready)}",
                    ask="Say which is right: what was drawn up or what was given.", about=f"more-{ready.name}",
                )
            )  # fmt: skip
    return found


def _with_added(note: OperativeNote, ready: Fact, more: Decimal) -> bool:
    """ "Four mils of lidocaine drawn up with two of water, six of that went in": what was added makes the rest."""
    for passage in note.sections.description:
        tokens = read(passage) if passage.holds(ready) else []
        for at, token in enumerate(tokens[1:], 1):
            own = token.quantity
            added = {one.norm for one in tokens[at - 1 : at]} | {one.norm for one in tokens[at + 1 : at + 4]}
            if own is not None and own.value == more and added & _DILUENTS:
                return True
    return False


_DILUENTS = frozenset({"water", "saline", "bicarb", "bicarbonate", "contrast", "omnipaque"})


def _unnamed(note: OperativeNote, ready: Fact) -> list[Fact]:
    """What was injected in the same sentence without a name, where that sentence names one drug only."""
    here = [passage for passage in note.sections.description if passage.holds(ready)]
    drugs = {fact.name for fact in note.of("medication") for passage in here if passage.holds(fact)}
    return [] if len(drugs) != 1 else [
        fact for fact in given(note, "injection_volume")
        if fact.name is None and any(passage.holds(fact) for passage in here)
    ]  # fmt: skip


def _is_told(note: OperativeNote, one: Portions) -> bool:
    """Whether `injection_total` holds what was made against all of its shares: they are entries."""
    made = any(fact.kind == "product_volume" and one.passage.holds(fact) for fact in note.facts)
    put = sum((fact.value or Decimal(0) for fact in given(note, "injection_volume")), Decimal(0))
    return made and put >= sum(one.shares, Decimal(0))


_FILTERED = re.compile(r"\b(?:aspirate|marrow|concentrate|lipoaspirate|fat|graft)\b[^.;]{0,30}\bfiltered\b", re.I)
_MADE = re.compile(r"\b(?:prepared|spun|processed|centrifuged|made|drawn up|drew up|thawed|reconstituted)\b", re.I)
_USED = re.compile(
    r"\b(?:inject\w*|infiltrat\w*|instill\w*|appl\w+|given|used|placed|put|delivered|discard\w*|wasted|thrown|sent|"
    r"kept|stored|mixed|sprayed|inserted|administered|into)\b", re.I,
)  # fmt: skip


def _products(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    """ "Ten millilitres of PRP were prepared", and nothing more of it: no drug, and no harvest that was told."""
    if given(note, *_TAKEN) or note.of("injection", "injection_volume", "injection_total"):
        return []
    passages = note.sections.description
    found: list[Finding] = []
    for place, passage in enumerate(passages):
        if not (_MADE.search(passage.text) or _FILTERED.search(passage.text)):
            continue
        sentence = mentions.mark(Sentence(0, tuple(read(passage))), grammar)
        made = [m for m in sentence.mentions if m.table == "injectates" and any(word in m.id for word in _OF_BLOOD)]
        later = " ".join(one.text for one in passages[place:])
        filtered = _FILTERED.search(passage.text)
        if not (made or filtered) or _USED.search(_OTHERWISE.sub("", later)):
            continue
        what = filtered[0] if filtered and not made else " ".join(
            token.text for token in sentence.tokens[made[0].first : made[0].last + 1]
        ).strip(".,")  # fmt: skip
        one = finding(
            "prepared_not_given", "warning", f"{what} was prepared; that it was given was not said.",
            ask="Say that it was given, or that it was thrown away.", about=f"w{passage.evidence.first}",
        )  # fmt: skip
        found.append(replace(one, evidence=(passage.evidence,)))
    return found


# "Six mils of concentrate, which went into the knee".
_WENT = re.compile(
    r"\b(?:concentrate|marrow|bmac|product|cells|graft|it|which|all|that|this|rest)(?: of (?:it|this|that|which))?,? "
    r"(?:then |all |was |were |is )*(?:went|goes|put|placed|packed|spread|laid|layered|delivered|deposited|applied|"
    r"given|mixed|soaked|added) (?:\w+ )?(?:in|into|onto|on|to|around|over|with|inside|at|"
    r"under|beneath|underneath|between|behind|along)\b|"
    r"\b(?:all|the whole)(?: \w+){1,3} (?:went|(?:was|were) \w+) (?:in|into|onto|on|to|over|under)\b|"
    r"\ball (?:of (?:it|them) )?(?:into|in) the\b|"
    r"\b(?:all|everything|the (?:whole )?lot|all of (?:it|this|that))(?: (?:was|were))? (?:then )?(?:re-?|back-?)?"
    r"(?:injected|instilled|infiltrated|deposited|implanted)\b|"
    r"\b(?:bmac|concentrate|product)(?: (?:\+|and) \w+)? (?:in|into|under|onto|ia|intra-?articular\w*)\b"
    r"(?! (?:a|the) (?:syringe|tube|bag))|"
    # "the three millilitres of concentrate on the lesion with fibrin glue"
    r"\b(?:bmac|concentrate|product) (?:on|over|around|at) (?:the |a |its )?(?:\w+ )?(?:lesion|defect|membrane|"
    r"scaffold|repair|base|bed|tear|tendon|holes|surface|footprint|matrix|sponge)\b", re.I,
)  # fmt: skip
# What is put on or into something else: "drawn into a syringe", "dressing applied", "sent home".
_OTHERWISE = re.compile(
    r"\b(?:in)?to (?:a|the|one|two|\d+) (?:\w+ )?(?:syringe|tube|bag|pot|centrifuge|kit|container|bowl)s?\b|"
    r"\b(?:dressing|bandage|plaster|pressure|ice|tape|sling|splint|compression|tourniquet|band-?aid|strips?)s? "
    r"(?:was |were |is )?(?:\w+ )?(?:applied|placed|put|used)\b|\b(?:sent|kept) (?:home|in|overnight|to)\b", re.I,
)  # fmt: skip
_OF_BLOOD = ("marrow", "platelet", "blood", "fat", "stem", "amniotic")
_TAKEN = ("product_volume", "harvest_total", "draw")


def _marrow(note: OperativeNote) -> list[Finding]:
    taken = given(note, "product_volume") or given(note, "harvest_total") or given(note, "draw")
    used = note.of("injection", "injection_volume", "injection_total", "discarded_volume", "specimen", "processing")
    used = [fact for fact in used if fact.kind != "processing" or fact.name == "mixing"] + _put_in(note, taken)
    used = [fact for fact in used if fact.kind != "injection" or not _is_title(note, fact, taken)]
    used = [fact for fact in used if fact.kind != "specimen" or fact.certainty == "affirmed"]  # "no specimen"
    if not taken or any(fact.certainty != "suspected" and fact.status == "performed" for fact in used):
        return []
    told = [one.text for one in note.sections.description if one.evidence.last >= taken[0].evidence.first]
    if _WENT.search(" ".join(told)) or any(
        True for one in note.sections.description if one.evidence.last >= taken[0].evidence.first
        for _ in _into.shares(note, one, taken[0])
    ):  # fmt: skip
        return []
    return [
        finding(
            "prepared_not_given",
            "warning",
            f"{_taken(note, taken)} were {'made' if taken[0].kind == 'product_volume' else 'harvested'}; "
            "where they went was not said.",
            taken,
            ask="Say where how much was injected, or that it was thrown away.",
            about="harvest",
        )
    ]


def _put_in(note: OperativeNote, taken: list[Fact]) -> list[Fact]:
    """ "Spun to seven mils and injected into the knee": an injection behind the harvest, of no medicine."""
    if not taken:
        return []
    first, drugs = taken[0].evidence.first, note.of("medication")
    drugged = [one for one in note.sections.description if any(one.holds(drug) for drug in drugs)]
    return [fact for fact in note.of("act") if fact.name == "injection" and fact.evidence.first > first
            and fact.body_site is not None and not any(passage.holds(fact) for passage in drugged)]  # fmt: skip


def _is_title(note: OperativeNote, fact: Fact, taken: list[Fact]) -> bool:
    """ "Procedure: ultrasound guided PRP": the name of the operation tells of no giving."""
    passage = next((one for one in note.sections.description if one.holds(fact)), None)
    ahead = bool(taken) and fact.evidence.last < taken[0].evidence.first
    return ahead and passage is not None and passage.section in _TITLES


_TITLES = frozenset({"procedure", "procedures", "operation", "planned-procedure", "consent"})


def _drugs(note: OperativeNote, grammar: Grammar, spent: set[str]) -> list[Finding]:
    found: list[Finding] = []
    told: set[str] = set(spent)
    for fact in note.of("medication"):
        name = fact.name or ""
        if prepared(fact) and told == spent:  # "drawn up together in one syringe, nine of this put into the shoulder"
            told |= {drug.name or "" for mixture in mixtures_of(note, grammar) for drug in mixture.drugs}
        if not prepared(fact) or fact.certainty != "affirmed" or name in told:
            continue
        if _spent(note, name) or _kept(note, fact) or _unnamed(note, fact):
            continue
        told.add(name)
        found.append(
            finding(
                "prepared_not_given",
                "warning",
                f"{called(fact, grammar)} was prepared; that it was given was not said.",
                [fact],
                ask="Say that it was given, or that it was thrown away.",
                about=name,
            )
        )
    return found


def _spent(note: OperativeNote, drug: str) -> bool:
    """Whether the drug was given, said not to be given, or thrown away elsewhere."""
    told = note.of("medication", "medication_dose", "medication_volume")
    same: list[Fact] = [fact for fact in told if fact.name == drug]
    return any(fact.certainty == "negated" or not prepared(fact) for fact in same)


def _kept(note: OperativeNote, fact: Fact) -> bool:
    """Whether the sentence with one drug says that it was not given: "had been drawn up but was not added"."""
    return any(
        passage.holds(fact)
        and _KEPT.search(passage.text)
        and not any(other.name != fact.name and passage.holds(other) for other in note.of("medication"))
        for passage in note.sections.description
    )


def _taken(note: OperativeNote, taken: list[Fact]) -> str:
    """What was harvested, in words; draws of so much each with how many there were."""
    counts = [fact for fact in note.of("draw_count", given=True) if fact.value is not None]
    if len(taken) == 1 and taken[0].kind == "draw" and taken[0].scale == "each" and len(counts) == 1:
        return f"{shown(counts[0])} x {shown(taken[0])}"
    return " + ".join(shown(fact) for fact in taken)
