"""Words of a position, a preparation, a picture or a way in that tell of something else, and positions in short."""

from __future__ import annotations

from pipeline import clauses, left_as_side
from pipeline.extractors import _drug_numbers, base
from pipeline.records import Fact, Mention, Reading, Sentence


def is_none_of_skin(sentence: Sentence, mention: Mention) -> bool:
    """Whether what skin is prepared with is told of as something else."""
    before = {token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]}
    if sentence.tokens[mention.first].norm in ("drape", "drapes") and before & {"on", "onto", "off"}:
        return True  # "the last half leaked out on the drape"
    return is_allergen(sentence, mention) or is_used_at_home(sentence, mention)


def is_allergen(sentence: Sentence, mention: Mention) -> bool:
    """ "Allergic to iodine so chlorhexidine was used": the first is no preparation."""
    behind = sentence.tokens[mention.last + 1 : mention.last + 2]
    return not (behind and behind[0].norm in _USED) and any(
        token.norm in _ALLERGIC and _drug_numbers.allergic_to(sentence, at, at, mention)
        for at, token in enumerate(sentence.tokens)
    )


def is_used_at_home(sentence: Sentence, mention: Mention) -> bool:
    """ "Chlorhexidine rinse twice a day from tomorrow": no skin was prepared with it."""
    first, end = clauses.bounds(sentence, mention.first)
    near = sentence.tokens[max(first, mention.first - 3) : min(end, mention.last + 7)]
    daily = any(token.norm in _DAILY for token in near)
    lasting = any(token.quantity is not None and token.quantity.unit in ("d", "wk") for token in near)
    return bool(_RINSES & {token.norm for token in near}) and (daily or lasting) or (daily and lasting)


def goes_on(sentence: Sentence, mention: Mention) -> bool:
    """ "Antibiotics go on for six weeks", "antibiotics twenty four hours": ordered for afterwards."""
    behind = sentence.tokens[mention.last + 1 : mention.last + 6]
    norms = [token.norm for token in behind]
    time = behind[0].quantity if behind else None
    if norms[:2] in (["go", "on"], ["to", "continue"]) or norms[:1] in (["continue"], ["continued"], ["continues"]):
        return True
    return time is not None and (time.unit in ("d", "wk") or time.unit == "h" and (time.value or 0) >= _COURSE)


_COURSE = 12  # hours; what is given before an operation is given once
_RINSES = frozenset("rinse rinses mouthwash gargle gargles wash washes shampoo bath baths soak soaks".split())
_DAILY = frozenset("daily bd bid tds tid qds twice tomorrow tonight day".split())
_ALLERGIC = frozenset({"allergic", "allergy", "allergies"})
_USED = frozenset("prep prepped used was preparation instead wash".split())


def at_a_visit(sentence: Sentence, mention: Mention) -> bool:
    ahead = sentence.tokens[max(0, mention.first - _VISIT_REACH) : mention.first]
    weeks = any(token.quantity is not None and token.quantity.unit in ("d", "wk", "mo") for token in ahead)
    behind = sentence.tokens[mention.last + 1 : mention.last + 8]  # "x-rays at two, six and twelve weeks"
    later = bool(behind) and behind[0].norm in ("at", "in") and any(
        token.quantity is not None and token.quantity.unit in ("d", "wk", "mo") for token in behind
    )
    timed = behind[0].quantity if behind else None  # "x-ray four weeks", "X-ray 6/12"
    later = later or timed is not None and (timed.unit in ("wk", "mo") or timed.form == "pair" and timed.text.endswith(
        ("/7", "/52", "/12")))
    return later or weeks and any(token.norm in _VISIT for token in ahead)


_VISIT_REACH = 10  # tokens
_VISIT = frozenset({"clinic", "review", "see", "visit", "appointment", "follow-up", "followup", "seen", "outpatients"})


def is_of_tool(sentence: Sentence, mention: Mention) -> bool:
    """ "Keeping the awl in the lateral position": how a tool was held."""
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 5) : mention.first]]
    if {"slight", "slightly"} & set(before) and not sentence.says(_PATIENT):
        return True  # "this was placed in slightly lateral position": a component
    return before[-2:] in (["in", "the"], ["in", "a"]) and bool(_HELD & set(before)) or bool(_HELD & set(before[-2:]))


_PATIENT = frozenset("patient he she him her pt pelvis torso body hip shoulder".split())

_HELD = frozenset("awl reamer guide broach saw drill blade wire retractor scope camera osteotome rasp".split())

_SCOPES = frozenset("scope endoscope colonoscope gastroscope bronchoscope cystoscope caecum cecum ileum".split())
_PASSAGES = frozenset(
    "duct ducts canaliculus canaliculi canalicular punctum lacrimal ureter ureteral stenosis stricture system tract "
    "fistula ostium sinus".split()
)


def is_other_passage(sentence: Sentence, mention: Mention) -> bool:
    """ "The duct was intubated": a tube into something else than the windpipe."""
    said = sentence.tokens[mention.first].norm
    return said.startswith("intubat") and any(
        token.norm in _PASSAGES or token.norm in _SCOPES
        for token in sentence.tokens[max(0, mention.first - 6) : mention.last + 7]
    )


_SHUT = frozenset({"closed", "sutured", "injected", "infiltrated", "dressed", "irrigated", "clean", "dry", "checked"})


def is_no_way_in(sentence: Sentence, mention: Mention) -> bool:
    """ "Incision at nine", "portals closed with nylon": a time, or an opening that is looked after."""
    after = sentence.tokens[mention.last + 1 : mention.last + 4]
    return any(token.norm in _SHUT for token in after) or any(
        token.quantity is not None and token.quantity.form == "clock" for token in after
    )


def kept_for_days(sentence: Sentence, mention: Mention) -> bool:
    """ "Head down for seven days" is an instruction."""
    for index in range(mention.last + 2, min(mention.last + 9, len(sentence.tokens))):
        quantity = sentence.tokens[index].quantity
        if quantity is not None:
            return quantity.unit in ("d", "wk", "h") and sentence.tokens[index - 1].norm == "for"
    return False


def on_back(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "On her back, catheter.", "epidural on his back": how the patient lies, at the head of a part or behind the
    anaesthetic; a cyst on his back is no position."""
    tokens = sentence.tokens
    if sentence.section or not sentence.says(_LYING.keys()):
        return []
    for at in range(len(tokens) - 2):
        name = _LYING.get(tokens[at + 2].norm)
        if name is None or tokens[at].norm != "on" or tokens[at + 1].norm not in ("his", "her"):
            continue
        before = tokens[at - 1].norm if at else "."
        taken = any(m.table == "positions" and m.first <= at + 2 and m.last >= at for m in sentence.mentions)
        if not taken and (before in _HEAD_OF_PART or any(
            m.last == at - 1 and m.table == "anaesthesia" for m in sentence.mentions
        )):
            return [base.make("position", reading, sentence, at, at + 2, name=name)]
    return []


_LYING = {"back": "supine", "front": "prone", "tummy": "prone"}
_HEAD_OF_PART = frozenset({".", ";", "spinal", "epidural", "general", "asleep"})


def legs_up(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "General. Legs up.": how the patient lies, before anything is closed or dressed; afterwards it is an order."""
    at = next((at for at, token in enumerate(sentence.tokens[:-1]) if token.norm == "legs"
               and sentence.tokens[at + 1].norm == "up"), None)  # fmt: skip
    if at is None or sentence.section or is_ordered(reading, sentence) or any(
        m.table == "positions" and m.first <= at <= m.last for m in sentence.mentions
    ):
        return []
    return [base.make("position", reading, sentence, at, at + 1, text="legs up")]


def is_ordered(reading: Reading, sentence: Sentence) -> bool:
    """Whether the work is over where a sentence is told: something was closed, dressed or counted before it."""
    return any(m.table in _OVER for one in reading.sentences[: sentence.index] for m in one.mentions)


_OVER = frozenset({"closures", "sutures", "dressings", "counts", "dispositions", "aftercare"})
_SIDES = frozenset({"left", "right"})
_AFTER_LATERAL = frozenset({"position", "decubitus", "so", "with", "on", "and", "under", "the", "pneumoperitoneum"})


def lateral(reading: Reading, sentence: Sentence) -> list[Fact]:
    """ "Left lateral." as a position: not before a part of the body ("left lateral malleolus"). "Seated, arm on the
    table": the patient, where nothing is told before it that may sit in its place. "Turned onto her left side"."""
    tokens = sentence.tokens
    alone = {"seated": "sitting-position", "lateral": "lateral-decubitus"}.get(tokens[0].norm)
    told = alone == "lateral-decubitus" and (
        any(token.norm == ":" for token in tokens[1:2]) or any(one.says({"medial"}) for one in reading.sentences)
        or bool(list(base.mentions(sentence, "findings", "diagnoses", "grades")))
    )  # "Medial: no tear. Lateral: radial tear 5 mm": a compartment
    if alone is not None and not told and not sentence.section and (len(tokens) == 1 or tokens[1].punctuation):
        return [base.make("position", reading, sentence, 0, 0, name=alone)]
    norms = [token.norm for token in tokens] if sentence.says(_SIDES) else []
    for index in range(len(norms) - 1):
        if norms[index] not in _SIDES:
            continue
        begin = left_as_side.lies_on(norms, index)
        if begin is not None and not sentence.section:
            up = norms[index + 2 : index + 3] and norms[index + 2] in ("up", "uppermost", "upmost")
            down = norms[index] if not up else "left" if norms[index] == "right" else "right"
            return [base.make("position", reading, sentence, begin, index + 1, name=f"{down}-lateral-decubitus")]
        if norms[index + 1] != "lateral":
            continue
        if any(m.first <= index + 1 <= m.last for m in sentence.mentions):
            continue
        after = tokens[index + 2] if index + 2 < len(tokens) else None
        if after is None or after.punctuation or after.norm in _AFTER_LATERAL:
            name = f"{tokens[index].norm}-lateral-decubitus"
            return [base.make("position", reading, sentence, index, index + 1, name=name)]
    return []




def sits(sentence: Sentence, mention: Mention) -> bool:
    """ "The middle lobe sitting the right way round", "a plate seated on the shaft": a thing, not the patient."""
    tokens, before = sentence.tokens, mention.first - 1
    while before > 0 and tokens[before].norm in _STANDS:
        before -= 1
    return tokens[mention.first].norm in ("sitting", "seated") and any(
        m.last == before and m.table in ("sites", "devices", "findings", "diagnoses", "specimens", "drains")
        for m in sentence.mentions
    )


_STANDS = frozenset({"was", "is", "were", "are", "now", "well", "nicely", "then"})


def is_taken_again(sentence: Sentence, mention: Mention) -> bool:
    """ "The previous incision was extended", "through the old incision": the way in of today."""
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, mention.first - 4) : mention.first]]
    behind = [token.norm for token in tokens[mention.last + 1 : mention.last + 5]]
    called = bool(_CALLED_OLD & set(before[-2:])) or tokens[mention.first].norm in _CALLED_OLD
    used = behind[:1] in (["was"], ["were"]) and bool(_TAKEN & set(behind))
    return called and (used or bool(_ALONG & set(before)))


_CALLED_OLD = frozenset({"previous", "prior", "old", "existing"})
_ALONG = frozenset("through via along over using utilizing utilising into extended reopened opened excised".split())
_TAKEN = frozenset("extended reopened re-opened opened used utilized utilised excised followed incised".split())


def is_in_cement(sentence: Sentence, mention: Mention) -> bool:
    """ "Cement with antibiotics": what is in the cement, and given to nobody."""
    tokens = sentence.tokens
    return mention.first > 1 and tokens[mention.first - 1].norm in ("with", "containing") and (
        tokens[mention.first - 2].norm in ("cement", "pmma", "spacer", "beads")
    )
