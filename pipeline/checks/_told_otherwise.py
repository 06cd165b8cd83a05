"""Whether a note tells of an element in words that make no entry of that kind: it is asked for quietly then."""

from __future__ import annotations

import re

from pipeline.checks import _ways_in
from pipeline.checks._words import ELSEWHERE, SENT_AWAY
from pipeline.note import OperativeNote


def of_injection(note: OperativeNote) -> tuple[str, ...]:
    """What is seldom told of an injection that is the whole operation, where no family has its name ("injection of the
    left hip"): no blood is lost and nothing is sent. Common practice, no source."""
    done = note.of("procedure", given=True)
    only = bool(done) and all(re.search(r"\binject", fact.text or "", re.I) for fact in done)
    return ("specimens", "blood_loss") if only and not note.of("suture", "incision_length") else ()


# "BP fell to 80/45 at cementing, treated with metaraminol; recovered": what happened is told, and not called by a name.
_HAPPENED = re.compile(
    r"\b(?:bp|blood pressure|pressure|saturations?|sats?|heart rate|pulse) (?:fell|dropped|dipped|went down|went "
    r"to)\b"
    r".{0,90}\b(?:treated|recovered|settled|responded|corrected|came back)\b", re.IGNORECASE
)  # fmt: skip


_UNNUMBED = re.compile(
    r"\bno (?:local |general )?(?:ana?esthe\w+|sedation)\b|\b(?:cold|cryo|ethyl chloride) ?spray\b", re.I
)
_STATE = re.compile(
    r"\b(?:worn|torn|frayed|gone|absent|retracted|loose|thin|soft|swollen|inflamed|shrivelled|bulky|"
    r"enlarged|pale|fatty|hard|spiral|oblique|comminuted|broken|split|stuck|adherent|prolapsed?|descent|stretched|"
    r"smaller|larger|good size|"
    r"pink|fixed|flail|ruptured|dilated|scarring|perforated|gangrenous|found|thresholds?|"
    r"thick(?:ened)?|flat(?:tened)?|tight|"
    r"intact|whole|clean|healthy|normal|unstable|displaced|bone on bone|eburnated|degenerate\w*|arthritic|scarred|"
    r"full of)\b", re.I,
)
_BLED = re.compile(r"\bblood loss\b[^.;]{0,20}\b(?:few|drops?|hardly|next to|trivial|little|not worth)\b", re.I)
# A graft is fixed, the wound under it is not closed.
_GRAFTED = re.compile(
    r"\b(?:graft(?:s|ed|ing)?|strips?|sheets?)\b"
    r"(?:[^.:]|(?<=\d)[.:](?=\d)){0,80}?\b(?:stapled|glued|sutured|sewn|tacked)\b", re.IGNORECASE
)
_FIXES = re.compile(r"fixation|nail|pinning|wire|plat|screw|osteosynth|fusion|desis|osteotomy", re.IGNORECASE)
_UNCLOSED = re.compile(r"\b(?:a|one|two|three|single|few)(?: \w+){0,2} stitch(?:es)?\b|\bsteri|"
                       r"\b(?:percutaneous|stab|no (?:incision|wound)|nothing) to (?:close|suture)\b|\bleft open\b|"
                       r"\b(?:vacuum|vac|npwt)\b|\bno (?:skin )?(?:closure|sutures?|stitch(?:es)?) needed\b", re.I)
_ANCHORED = re.compile(r"repair|bankart|slap|labr|tenodesis|stabili|reconstruct|fixation|remplissage|latarjet|"
                       r"transfer",
                       re.IGNORECASE)  # fmt: skip
_HELD = frozenset({"splint", "cast", "slab", "plaster-cast", "sling", "collar", "brace"})


_LAY = re.compile(
    r"\b(?i:head (?:up|down)|feet (?:up|down)|rose(?:'s)? position|leg over the side|arm over (?:a|the) \w+)\b|"
    r"\bBC\b|\b(?i:(?:lay|lying|laid|placed|put|turned|positioned|sat|sitting|seated|propped)(?: \w+){0,3} "
    r"(?:back|side|front|belly|up|chair|edge|stool|lateral)|lateral,? (?:on|with) (?:the |her |his )?"
    r"(?:left|right|good|other|side)|(?:left|right) side (?:up|down))\b"
)
_CARE = re.compile(
    r"\b(?:get up|gets? up|eat\w*|drink\w*|home|nothing heavy|catheter|drains?|packs?|stitches|clips|"
    r"staples)\b[^.;]{0,20}"
    r"\b(?:tonight|this (?:evening|afternoon)|tomorrow|till|until|in the morning|when|for a)\b|"
    r"\bkeep (?:it|the \w+|his \w+|her \w+) (?:warm|dry|clean|up|raised|elevated)\b|\bsqueeze\b|\bbend (?:it|the)\b|"
    r"\bdrops\b|\b(?:splint|brace|sling|boot|slab|cast|collar|bandage|dressing|tape|buddy)\b[^.]{0,30}\b(?:for |x )?"
    r"(?:\d+|[a-z]+) ?(?:days?|wks?|weeks?|months?|/52|/12|/7|d\b|h\b|hours?)|"
    r"\b(?:physio|physiotherapy|mobili[sz]\w+|moves?|moving|exercis\w+|elevat\w+)\b[^.]{0,25}\b(?:today|tonight|"
    r"tomorrow|at once|straight away|from|day|D\d|freely|as able)\b|\b(?:PT|OT) (?:today|tomorrow|D\d|wk)\b",
    re.IGNORECASE,
)


# What led to the operation, told as a story: "catching for months", "the scan showed a tear", "fell four days ago".
_LED_HERE = re.compile(
    r"\b(?:for|over|since|past|last|these) (?:the (?:last|past) )?(?:about |nearly |over |almost )?"
    r"(?:\w+ ){0,2}?(?:days?|weeks?|months?|years?|decades?|wks?|mths?|yrs?)\b|"
    r"\b(?:\w+ )(?:days?|weeks?|months?|years?) (?:ago|back|history|of)\b|\bsince (?:last |the )?(?:spring|summer|"
    r"autumn|fall|"
    r"winter|christmas|easter|january|february|march|april|may|june|july|august|september|october|november|"
    r"december)\b|\b\d+ ?(?:/7|/52|/12)\b|"
    r"\b(?:scans?|mri|m r i|ct|c t|ultrasound|us|x-?rays?|films?|duplex|echo|biopsy|angiogram|mammogram|"
    r"colonoscopy)\b"
    r"[^.;]{0,20}\b(?:show\w*|says?|has|found|confirm\w*|said|with|prove\w*|picked)\b|"
    r"\b(?:fell|fallen|fall|foosh|injur\w+|assault\w*|rtc|mva|struck|twisted|crush\w*|bitten|stabbed|came off)\b|"
    r"\? ?[a-z]{4}|\b(?:query|suspected|recurrent|symptomatic|painful|worn|worn out|blocked|stuck|broken|ruptured|"
    r"torn|"
    r"failed|infected|known|troublesome)\b|#|"
    r"\b(?:pain|lump|mass|nodule|swelling|bleeding|discharge|numb\w*|weak\w*|locking|catching|clicking|tumou?r|"
    r"cancer|"
    r"stones?|cyst|polyps?|hernia|fracture|tear|rupture|stenosis|strokes?|tia|cataract|arthritis|ulcer|abscess|"
    r"trace|breech|stricture|glaucoma|"
    r"cleft|faint\w*|saw|squint|esotropia|exotropia|yellow|jaundice\w*|aneurysm|dead|gangren\w*|"
    r"loose bod\w+|jam\w+|sore|ach\w+|deaf|glue|breathless|gradient|failing|leak\w*|blockage|necrosis|pressures?|due|"
    r"burn|wound|infection)\b",
    re.IGNORECASE,
)
_OPENING = 60  # words: what the narration begins with


def _led_here(note: OperativeNote) -> bool:
    if note.of("indication", "imaging"):
        return True
    words = " ".join(one.text for one in note.sections.description[:_FEW]).split()[:_OPENING]
    return _LED_HERE.search(" ".join(words)) is not None


_FEW = 8  # passages
# "Cef + metro at induction", "antibiotics in before we started".
_COVERED = re.compile(
    r"\b(?:abx|antibiotics?|cef\w*|metro|gent|augmentin|ancef|vanc|co-amox\w*)\b[^.;]{0,30}\b(?:induction|before|"
    r"table|knife|"
    r"skin|given|beforehand|start\w*|on board)\b", re.IGNORECASE
)
# "Wisdom teeth, the same after", "stays bladder tumour afterwards", "pre and post the same".
_AFTER = re.compile(
    r"\bno surprises?\b|"
    r"\b(?:same|unchanged|confirmed|stays?|stayed|remains?|still)\b[^.;]{0,25}\b(?:after(?:wards?)?|post ?op\w*|"
    r"again|now)\b|"
    r"\b(?:pre|before)\b[^.;]{0,15}\b(?:post|after)\b[^.;]{0,8}\b(?:same|unchanged)\b|\bdiagnosis (?:the same|"
    r"stays)\b|"
    r"\b(?:post op|postop|postoperative)\b (?:the )?(?:left |right )?[a-z]+ [a-z]+", re.IGNORECASE,
)
_GUIDED = re.compile(
    r"\b(?:ultrasound|us[- ]guided|x-?rays?|fluoro\w*|screen\w+|image intensifier|c-?arm|landmarks?|palpat\w+|"
    r"freehand|by feel|blind)\b", re.IGNORECASE
)
# In a story of the operation, whatever its heading.
_IN_TEXT = {
    "anaesthesia": (_UNNUMBED,), "blood_loss": (_BLED,), "specimens": (SENT_AWAY,), "specimen": (SENT_AWAY,),
    "complications": (_HAPPENED,), "prophylaxis": (_COVERED,), "position": (_LAY,), "aftercare": (_CARE,),
    "closure": (_GRAFTED, _UNCLOSED), "postop_diagnosis": (_AFTER,), "guidance": (_GUIDED,),
}  # fmt: skip


def told(note: OperativeNote, asked: str) -> bool:
    """Whether the note tells of an element (its id in grammars/profiles or grammars/families) in other words."""
    passages = note.sections.description
    if any(way.search(one.text) for way in _IN_TEXT.get(asked, ()) for one in passages):
        return True
    if asked in ("approach", "closure") and _needs_no_cut(note):
        return True
    if asked in ("approach", "access"):
        return _ways_in.told(note) or any(_WAY_IN_NAME.search(name) for name in _done(note))
    if asked == "preop_diagnosis":
        return _led_here(note)
    if asked == "mesh":  # the sac of a child's hernia is tied, and nothing else done
        return bool(_done(note)) and all("herniotomy" in name for name in _done(note))
    if asked == "anaesthesia":  # "skin: 3 mL lidocaine 1 %", "topical oxybuprocaine", "laryngeal mask"
        return any(fact.role == "local_anaesthetic" for fact in note.of("medication", given=True)) or any(
            fact.name in _AIRWAYS for fact in note.of("act")
        )
    if asked == "findings":  # "head worn through, cuff gone"; an injection finds what was diagnosed
        return bool(note.of("postop_diagnosis", "diagnosis", "preop_diagnosis")) and (bool(of_injection(note)) or any(
            _STATE.search(one.text) for one in passages if one.section not in ELSEWHERE
        ))
    if asked == "injected":  # "80 mg methylprednisolone with 3 mL ropivacaine, 5 mL together"
        return bool(note.of("medication_volume", given=True)) and bool(note.of("medication_dose", given=True))
    if asked == "decompression":  # a nerve root that is injected is not freed
        return bool(_done(note)) and all(re.search("inject|block", name, re.I) for name in _done(note))
    if asked == "anchors":  # a decompression needs none
        done = note.of("procedure", given=True)
        return bool(done) and not any(_ANCHORED.search(f"{one.name} {one.text} {one.evidence.heard}") for one in done)
    if asked == "fixation":  # "closed reduction and a plaster": nothing was put in
        done = [fact for fact in note.of("procedure") if fact.status == "performed" and fact.certainty == "affirmed"]
        fixed = any(_FIXES.search(f"{fact.name or ''} {fact.text or ''}") for fact in done)
        return not fixed and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")
    # "Splint three weeks": what is held still bears no load
    return asked == "weight" and any(fact.name in _HELD for fact in note.of("dressing") if fact.status == "performed")


# Done through a natural opening, a needle or a sheath: there is no cut to tell of, and nothing to close.
_NO_CUT = re.compile(
    r"(?<!arthro)(?<!laparo)(?<!thoraco)scop|\btur[pb]|transurethral|\bfess\b|sinus|septoplasty|turbinate|tonsil|"
    r"adenoid|"
    r"\bercp\b|cholangiopancreat|grommet|ebus|tympanostomy|myringotomy|curettage|evacuation of the uterus|inject|"
    r"aspirat|\bblock\b|ablation|"
    r"angioplasty|stent|embol|banding|"
    r"extraction|polypectomy|cardioversion|lithotripsy|catheter|closed reduction|manipulation|examination under",
    re.IGNORECASE,
)


_WAY_IN_NAME = re.compile(r"skin graft|\bssg\b|debrid|\b(?:trans)?vaginal\b|percutaneous|transanal|transoral|"
                          r"perineal|transurethral", re.I)


def _needs_no_cut(note: OperativeNote) -> bool:
    done = _done(note)
    return bool(done) and all(_NO_CUT.search(name) for name in done)


def _done(note: OperativeNote) -> list[str]:
    return [f"{fact.name or ''} {fact.text or ''}".replace("-", " ") for fact in note.of("procedure", given=True)]


_AIRWAYS = frozenset({"laryngeal-mask", "endotracheal-tube", "double-lumen-tube", "nasotracheal-intubation"})
