"""What belongs to the one side of an operation on one side, beyond its own numbers: what was given into the part, what
was taken from it, its drain, the block of its limb, and what is ordered for it afterwards.

What is given to, taken from or ordered for the whole patient or another part of the body has none.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from itertools import pairwise

from pipeline import laterality, own_numbers, stated_sides
from pipeline.body_parts import chain, limbs
from pipeline.grammar import Grammar
from pipeline.records import Fact, Laterality, Reading, Sentence
from pipeline.rows import Concept, Drug

GIVEN = frozenset({"medication_dose", "medication_volume"})
_INJECTED = frozenset({"injection", "injection_volume", "injection_needle", "injection_depth", "injection_total"})
_TAKEN = frozenset({"specimen", "specimen_count"})
_DRAINED = frozenset({"drain", "drain_size"})
ORDERED = frozenset({"aftercare", "dressing", "medication"})
KINDS = GIVEN | _INJECTED | _TAKEN | _DRAINED | ORDERED | {"anaesthesia", "fluid_out"}
# Tubes of what there is once.
OF_MIDDLE = frozenset({"urinary-catheter", "suprapubic-catheter", "nasogastric-tube", "lumbar-drain", "t-tube",
                       "external-ventricular-drain", "biliary-drain", "pain-catheter"})  # fmt: skip
# Blocks of one limb, by the limb.
_BLOCKS = {
    "upper": frozenset("interscalene-block supraclavicular-block infraclavicular-block axillary-block "
                       "brachial-plexus-block wrist-block digital-block".split()),
    "lower": frozenset("femoral-nerve-block adductor-canal-block fascia-iliaca-block sciatic-nerve-block "
                       "popliteal-block ankle-block ipack-block peng-block obturator-block "
                       "genicular-nerve-block".split()),
}  # fmt: skip
# Blocks of one half of the trunk or the neck, by the parts that they are for.
_THORAX = frozenset({"lung", "breast", "rib", "pleura", "axilla", "clavicle"})
_OF_TRUNK = {
    "intercostal-block": _THORAX, "paravertebral-block": _THORAX, "pectoral-block": _THORAX,
    "erector-spinae-block": _THORAX | {"kidney"},
    "ilioinguinal-block": frozenset({"groin", "testis", "inguinal-canal"}),
    "cervical-plexus-block": frozenset({"carotid-artery", "thyroid-lobe", "clavicle"}),
}
# What a limb is put in, may carry or do; not what the patient walks with.
_OF_LIMB = frozenset({"load", "motion"})
_ON_LIMB = frozenset(
    "sling brace splint cast immobilization ice elevation boot surgical-shoe shoulder-immobilizer abduction-pillow "
    "abduction-wedge cold-therapy-cuff bulky-dressing compression-dressing elastic-bandage cast-padding".split()
)
_ON_EYE_OR_EAR = frozenset({"eye-shield", "eye-drops", "keep-dry", "packing-removal"})
_ALWAYS_LOCAL = frozenset("local_anaesthetic anti_vegf viscosupplement sclerosant dye tamponade".split())
# Steroids that stay where they are given.
_DEPOT = frozenset({"triamcinolone", "methylprednisolone", "methylprednisolone-acetate", "betamethasone"})
_PUT_THERE = frozenset(
    "inject injected injection injecting injections infiltrated infiltration instilled into intraarticular subacromial "
    "ic subconjunctival intravitreal intracameral intratympanic wound portals joint around placed retrobulbar".split()
)
# Words that tell that a medicine went another way, or that something was done to another part than the operated one.
_OTHER_WAYS = frozenset(
    "spinal epidural caudal intrathecal subarachnoid neuraxial iv intravenous intravenously infusion induction bier "
    "throat cords airway larynx cannula drip orally oral umbilicus umbilical port ports crest donor harvest "
    "rectally vein systemic scalp".split()
)
_OF_OTHERS = frozenset(
    "other opposite contralateral both each bilateral bilaterally either sides hips knees shoulders elbows wrists "
    "hands ankles feet legs arms eyes ears breasts".split()
)


def belongs(
    fact: Fact, side: Laterality | None, sentence: Sentence, grammar: Grammar, operated: Set[str],
    local: Callable[[Fact], bool],
) -> bool:  # fmt: skip
    """Whether a fact of one of `KINDS` is of the part that is operated on. `side`, `operated`: the side and the parts
    of the body that the operations are on; `local`: whether a medicine is one that is given at one place. Pure."""
    if fact.certainty != "affirmed" or any("side" in doubt for doubt in fact.doubts):
        return False
    if fact.kind in ORDERED:
        told = {one.value for one in laterality.sides(sentence, grammar)}
        if names_other_limb(sentence, side):
            return False
        return fact.status in ("performed", "planned") and told <= {side} and (
            _is_ordered_for_it(fact, sentence, grammar, operated)
        )
    if fact.status != "performed" or fact.scale is not None:
        return False
    if fact.kind == "anaesthesia":
        limb = limbs(operated, grammar)
        sites = grammar.table("sites", Concept)
        around = {one for place in operated if place in sites for one in chain(sites[place], grammar)}
        if fact.name in _OF_TRUNK and around & _OF_TRUNK[fact.name]:
            return True
        return any(fact.name in _BLOCKS[one] for one in limb if one in _BLOCKS) and len(limb) == 1
    if fact.kind in _DRAINED:
        return fact.name not in OF_MIDDLE and fact.text != "none" and own_numbers.lies_in(
            fact, sentence, grammar, operated
        )
    if fact.kind in _TAKEN:
        return fact.name != "none" and own_numbers.lies_in(fact, sentence, grammar, operated)
    if own_numbers.speaks_of_other(sentence, fact) or (fact.kind == "fluid_out" and fact.name != "effusion"):
        return False
    if fact.kind in GIVEN and not (local(fact) and went_there(fact, sentence, grammar)):
        return False
    return own_numbers.lies_in(fact, sentence, grammar, operated)


def names_other_limb(sentence: Sentence, side: Laterality | None) -> bool:
    """ "Right foot in a boot with light traction" beside an operation on the left: told of the limb out of the way."""
    other = {"left": "right", "right": "left"}.get(side or "")
    return any(one.norm == other and after.norm in _LIMB_WORDS for one, after in pairwise(sentence.tokens))


_LIMB_WORDS = frozenset("arm forearm elbow hand wrist leg thigh knee calf foot ankle heel limb extremity".split())


def is_sole(done: Sequence[Fact], grammar: Grammar) -> bool:
    """Whether none of the operations that were `done` is on what there is once: its numbers would lie apart from the
    sided ones. A look at it on the way ("cystoscopy normal") is none."""
    rows = grammar.tables["procedures"]
    return all(
        fact.laterality is not None or is_paired(fact, grammar)
        or (fact.name in rows and own_numbers.is_look(fact.name or ""))
        for fact in done
    )  # fmt: skip


def is_paired(fact: Fact, grammar: Grammar) -> bool:
    """Whether an operation is on what has a left and a right."""
    row = grammar.tables["procedures"].get(fact.name or "")
    site = grammar.table("sites", Concept).get(fact.body_site or (row.site if isinstance(row, Concept) else ""))
    if isinstance(row, Concept):
        own = row.site != "" or fact.laterality is not None  # "left breast excision": told by its words
        return row.sided or (site is not None and site.sided and own)
    return site is not None and site.sided


def went_there(fact: Fact, sentence: Sentence, grammar: Grammar) -> bool:
    """Whether a medicine was given at a place: a local anaesthetic is, unless another way is told; any other one where
    the sentence tells so."""
    near = {
        token.norm for token in sentence.tokens
        if fact.evidence.first - _NEAR <= token.first and token.last <= fact.evidence.last + _NEAR
    }  # fmt: skip
    if not near.isdisjoint(_OTHER_WAYS):
        return False
    row = grammar.table("drugs", Drug).get(fact.name or "")
    always = fact.name in _DEPOT or (row is not None and not _ALWAYS_LOCAL.isdisjoint(row.classes))
    return always or not near.isdisjoint(_PUT_THERE) or fact.unit == "{drop}"


_NEAR = 9  # words


def is_put_in(fact: Fact, sentence: Sentence | None) -> bool:
    """Whether the words around a dose tell that it went into a part of the body: "subconjunctival cefuroxime", "2 g of
    tranexamic acid into the joint"."""
    if sentence is None:
        return False
    if fact.unit == "{drop}":
        return True
    tokens = sentence.tokens
    first = next((at for at, token in enumerate(tokens) if fact.evidence.first <= token.first), 0)
    last = max((at for at, token in enumerate(tokens) if token.last <= fact.evidence.last), default=first)
    while first and not tokens[first - 1].punctuation and tokens[first - 1].norm != "and":
        first -= 1
    while last + 1 < len(tokens) and not tokens[last + 1].punctuation and tokens[last + 1].norm not in ("and", "then"):
        last += 1
    norms = [token.norm for token in tokens[first : last + 1]]
    if not _OTHER_WAYS.isdisjoint(norms):
        return False
    if not _WAYS_IN.isdisjoint(norms):
        return True
    parts = {m.first for m in sentence.mentions if m.table == "sites"}
    return any(
        tokens[at].norm in ("into", "in") and any(
            one in parts or tokens[one].norm in _INSIDE for one in range(at + 1, min(at + 4, len(tokens)))
        )
        for at in range(first, last + 1)
    )


_WAYS_IN = frozenset(
    "subconjunctival intracameral ic intravitreal intratympanic intraarticular subtenon topically perineural "
    "intralesional retrobulbar peribulbar".split()
)
_INSIDE = frozenset("joint wound canal capsule cavity socket bursa space sheath chamber tunnel".split())


_DROPPED = frozenset({"drops", "drop", "gtt", "eyedrops", "ointment"})


def _is_ordered_for_it(fact: Fact, sentence: Sentence, grammar: Grammar, operated: Set[str]) -> bool:
    if sentence.says(_OF_OTHERS):
        return False  # which one is meant the sentence says itself
    sites = grammar.table("sites", Concept)
    if fact.kind == "medication":
        drug = grammar.table("drugs", Drug).get(fact.name or "")
        dropped = sentence.says(_DROPPED) or (
            drug is not None and "ophthalmic" in drug.classes and fact.name != "acetazolamide"
        )
        return fact.status == "planned" and dropped and any(
            place in sites and chain(sites[place], grammar) & {"eye", "ear"} for place in operated
        )
    if fact.name in _ON_EYE_OR_EAR:
        return any(place in sites and chain(sites[place], grammar) & {"eye", "ear"} for place in operated)
    row = grammar.tables["aftercare"].get(fact.name or "")
    of_limb = fact.name in _ON_LIMB or (isinstance(row, Concept) and row.group in _OF_LIMB)
    named = [m for m in sentence.mentions if m.table == "sites"]
    return of_limb and fact.name != "no-lifting" and bool(limbs(operated, grammar)) and all(
        own_numbers.is_of(m.id, grammar, operated) for m in named
    )


def lies_between(fact: Fact, facts: Sequence[Fact], reading: Reading) -> bool:
    """ "Right foramen was fine, cages 7 mm at C5-C6": what is put in or closed on a spine has no side of a part named
    before it, but for a heading ("Right: ")."""
    sentence = reading.sentence_at(fact.evidence.first) if fact.kind in _ON_A_SPINE else None
    return sentence is not None and not sentence.says({":"}) and stated_sides.of_spine(facts)


_ON_A_SPINE = frozenset({"device", "device_size", "device_count", "drain", "drain_size", "closure"})
