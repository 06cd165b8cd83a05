"""Words that are an act, a finding or a side of the operation except beside certain others."""

from __future__ import annotations

from pipeline import clauses, context_years, cues
from pipeline.clauses import word_set as _words
from pipeline.grammar import Grammar
from pipeline.records import Mention, Sentence
from pipeline.rows import Device

_MANNER = _words("fashion manner technique way protocol routine")
# "The ureter lay back in a normal position": where a thing was put.
_PLACES = _words("position location place orientation alignment")
# What goes back in without growing there again.
_TOOLS = _words(
    "instrument instruments scope camera cannula catheter balloon tube trocar port sheath trial obturator needle "
    "laparoscope arthroscope introducer probe stent drain endoscope cystoscope resectoscope retractor speculum"
)
# What is lowered, and no fracture, hernia or joint.
_AMOUNTS = _words("pressure flow rate dose swelling bulk volume insufflation tension time pain risk setting power size "
                  "edema oedema afterload bleeding pleural symptoms")  # fmt: skip
_PRESERVED = _words("itself glutaraldehyde formalin formaldehyde alcohol place cork board wax card")
# "Mucopurulent drainage" was seen, and nothing drained.
_LOOKS = _words(
    "mucopurulent purulent serous serosanguineous bloody clear cloudy mucoid foul venous lymphatic capillary nasal "
    "persistent"
)
# "Because of marked dilatation of the bowel": a state that was found.
_SIGNS_OF_STATE = _words("due because marked moderate severe mild amount massive gross signs evidence")
# "The gas was released": let out, and nothing freed.
_LET_GO = _words("co2 gas pneumoperitoneum capnoperitoneum clamp clamps pressure traction distraction air tourniquet "
                 "cuff")  # fmt: skip
_GASES = _words("co2 gas pneumoperitoneum capnoperitoneum air insufflation smoke plume")
_DESCRIBING = _words("the a an this that its his her with and markedly grossly massively moderately mildly severely "
                     "hugely chronically")  # fmt: skip
# Between these a wire is a guide.
_GUIDED = _words("introducer dilator dilators sheath catheter lead guidewire needle seldinger cannula stent balloon")
_BRUSHED = _words("brush brushes brushing brushings bacteriologic bacteriological specimen specimens")
_PULLED_BY = _words("clamp clamps forceps suture sutures stitch stitches")
_COMPLAINED = _words("complaint complaints complaining complained history onset")
_CUTS = _words("arteriotomy venotomy incision incisions ureterotomy opening capsulotomy enterotomy wound")
_PASSED = _words("needle catheter wire guidewire scope tube trocar cannula probe introducer endoscope sheath")
_MOUTHS = _words("ureteral ureteric glottic urethral vaginal nasal pupillary laryngeal appendiceal pyloric")
_FILMS = _words("x-rays radiographs films film rays radiograph")
_SCREWED_IN = _words("corkscrew corkscrews")
_BLADES = _words("scissors scissor forceps")
_HOLDS = _words("excellent appropriate good adequate secure firm rigid solid satisfactory sound")
# "A stitch to release the tension": what is taken off, and nothing freed.
_RELIEVED = _words("tension pressure stress")
# "The real cup was opened": the package of what is put in.
_PACKED = _words("cup shell stem head liner insert implant component components prosthesis screw plate package set box "
                 "kit tray cage lens mesh")  # fmt: skip
_UNDER = _words("under underneath beneath")
# "A heparinised syringe": primed, and no patient was given heparin.
_FLUSHED = _words("syringe syringes saline solution flush needle needles tube tubes trocar cannula normal ringers")
# "The tourniquet was insufflated": blown up, and no cavity of the body filled.
_CUFFS = _words("tourniquet cuff balloon balloons bladder")
_TRIED = _words("trial trials temporary provisional")
# "Areas of traction were seen", "a dissection was noted": a state that was found.
_SEEN_AS_WELL = _words("traction distraction dissection compression occlusion")
_SHOWN = _words("revealed showed demonstrated shows")
_SIGNS = _words("areas area signs sign evidence vitreoretinal vitreous macular")
_NOTED = _words("seen noted found identified observed present appreciated evident visible")
_STUCK_ON = _words(
    "tape tapes drape drapes towel towels tube tubes catheter catheters line lines dressing dressings bandage splint "
    "pad pads mask cannula"
)
_IMPLANTS = _words("implant implants component components prosthesis prostheses stem cup head liner graft insert")
_OF_BONE = _words(
    "transverse process processes lamina laminae facet facets posterolateral gutter gutters sacrum sacral ala bone "
    "bony bur burr spinous pedicle pedicles cortex endplate endplates graft autograft allograft fusion"
)
_TAKEN_OUT = _words("removal removed explantation explanted extraction extracted")
_BACK = 8  # tokens
_OF_GROINS = _words("ligated tied hydrocele inguinal groin hernia sac testis testes scrotum processus cord divided")


def is_manner(sentence: Sentence, mention: Mention) -> bool:
    """ "Draped in normal sterile fashion", "put back in its normal anatomical position": how it was done, nothing that
    was seen."""
    if mention.first and sentence.tokens[mention.first - 1].norm in ("its", "their") and "position" in {
        token.norm for token in sentence.tokens[mention.last + 1 : mention.last + 4]
    }:
        return True
    if "times" in {token.norm for token in sentence.tokens[max(0, mention.first - 4) : mention.first]}:
        return True  # "two and a half times its normal size"
    lead = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    led = bool({"in", "into", "to"} & set(lead)) and set(lead[1:]) <= {"in", "into", "to", "a", "the", "its", "their"}
    for token in sentence.tokens[mention.last + 1 : mention.last + 5]:
        if token.norm in _MANNER or (led and token.norm in _PLACES):
            return True
        if token.punctuation or token.norm in ("and", "of", "with"):
            return False
    return False


def is_other_act(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "The scope was reinserted", "the pressure was reduced", "fixed in formalin", "the guide was pinned"."""
    tokens = sentence.tokens
    said = tokens[mention.first].norm
    before = [token.norm for token in tokens[max(0, mention.first - _BACK) : mention.first]]
    after = [token.norm for token in tokens[mention.last + 1 : mention.last + 4]]
    if mention.id == "reattachment" and said in ("reinserted", "reinsertion"):
        return bool(_TOOLS & set(before + after))
    if mention.id == "cementing" and said == "cemented" and _TAKEN_OUT & {token.norm for token in tokens}:
        return any(m.table == "devices" and m.first == mention.last + 1 for m in sentence.mentions)
    if mention.id == "incision" and said == "carried":
        return bool({"dissection", "resection", "excision", "debridement"} & set(before))
    if mention.id == "decortication-of-the-lung" and said == "decortication":
        return bool(_OF_BONE & {token.norm for token in tokens})
    if mention.id == "carotid-endarterectomy" and said == "cea":
        return bool(after) and tokens[mention.last + 1].quantity is not None  # "CEA 28, alpha 64"
    if mention.id == "repair" and said == "repair" and after[:1] in (["score"], ["assessment"], ["grade"]):
        return True  # "ICRS repair score"
    if mention.table == "procedures" and (_is_likened(before) or before[-1:] == ["post"]):
        return True  # "post mastectomy defect"
    if said == "enucleation" and {"cyst", "tumour", "tumor", "adenoma", "keratocyst", "prostate", "haemorrhoid"} & {
        token.norm for token in tokens[mention.last + 1 : mention.last + 5]
    }:
        return True  # of no eye
    if said == "ppv" and sentence.says(_OF_GROINS):
        return True  # "PPV ligated": a patent processus vaginalis
    behind = tokens[mention.last + 1].quantity if mention.last + 1 < len(tokens) else None
    if said == "thr" and behind is not None and behind.unit in ("V", "mV"):
        return True  # "lead 52 cm, thr 0.6 V": the threshold
    if mention.id == "implantation" and said in ("impacted", "seated"):
        return bool(_SCREWED_IN & set(before[-3:])) or not _is_of_implant(sentence, mention, grammar)
    if mention.id == "insufflation":
        return bool(_CUFFS & {token.norm for token in tokens})
    if mention.id == "removal-of-hardware" and {"wire", "wires"} & {
        token.norm for token in tokens[mention.first : mention.last + 1]
    }:  # "the introducer was placed over the wire and the wire was removed"
        return bool(_GUIDED & {token.norm for token in tokens} | _TRIED & set(before)) or bool(
            {"replaced", "replace", "exchanged"} & {token.norm for token in tokens[mention.last + 1 :]}
        )
    if mention.id in ("removal-of-hardware", "explantation-of-the-prosthesis"):
        return bool(_TRIED & set(before + [token.norm for token in tokens[mention.first : mention.last + 1]]))
    if mention.id in _SEEN_AS_WELL:
        seen = _SIGNS & set(before[-4:]) or _SHOWN & set(before[-3:])
        return bool(seen) or (after[:1] != [] and after[0] in ("was", "were") and bool(_NOTED & set(after[1:2])))
    if mention.id == "injection" and said == "injected" and is_red(sentence, mention):
        return True
    if mention.id == "reduction" and said == "reduction" and after[:1] in (["of"], ["in"]):
        return bool(_AMOUNTS & {token.norm for token in tokens[mention.last + 1 : mention.last + 5]})
    if mention.id == "reduction" and said == "reduced":
        return bool(_AMOUNTS & set(before[-5:])) or _is_to_a_number(sentence, mention)
    if mention.id == "systemic-heparinization" and said.startswith("heparini"):
        return bool(_FLUSHED & set(after[:1]))
    if mention.id == "drainage" and said == "drainage":
        if before[-2:-1] and before[-1] in ("adequate", "good", "free", "dependent", "proper", "better", "optimal"):
            return True  # "to provide adequate drainage"
        complaint = after[:1] == ["from"] and "of" in before[-1:] and bool(_COMPLAINED & set(before))
        return bool(_LOOKS & set(before[-1:]) or "for" in before[-2:] or complaint)
    if mention.id == "protection" and said == "protected":
        return bool(_BRUSHED & set(after[:2]))
    if mention.id == "traction":
        return bool(_PULLED_BY & set(after))
    if mention.id == "division" and said == "transection" and any(
        m.table == "sites" and m.last == mention.first - 1 for m in sentence.mentions
    ):
        return True  # "superficial femoral artery transection": what had happened to it
    if mention.id == "division" and said == "divided":
        return bool({"doses", "dose", "portions", "aliquots"} & set(after[:1]))
    if mention.id == "dilatation" and said == "dilated" and _describes_part(sentence, mention, before):
        return True
    if mention.id == "drainage" and said == "evacuated":
        return bool(_GASES & set(before[-5:]))
    if mention.id == "dilatation" and said.endswith("tion"):
        return bool(_SIGNS_OF_STATE & set(before))
    if mention.id == "release" and said in ("released", "release"):
        alone = not any(m.table == "sites" and m.first >= mention.first - _BACK and m.last < mention.first
                        for m in sentence.mentions)  # fmt: skip
        near = before if alone else before[-5:]  # "traction of 25 kg for 62 minutes, then released"
        return bool(said == "released" and _LET_GO & set(near) or _RELIEVED & set(after))
    if mention.id == "tendon-lengthening" and said == "lengthened":
        return bool(_CUTS & set(before + after))
    if mention.id == "flap-transfer" and said in ("advancement", "advanced"):
        return bool(_PASSED & {token.norm for token in tokens[mention.last + 1 : mention.last + _BACK]})
    if mention.id == "tenotomy":
        return bool(_BLADES & set(after))  # "tenotomy and forceps dissection"
    if mention.id == "internal-fixation" and said == "fixation" and (_HOLDS | {"cement"}) & set(before[-1:]):
        return True  # "the component had excellent fixation", "poor cement fixation"
    if mention.id == "tendon-repair" and {"stitch", "stitches", "suture", "sutures"} & set(after[:2]):
        return True  # "a modified Kessler type stitch"
    if mention.id == "opening" and said == "opening" and (after[:1] == ["wedge"] or before[-1:] == ["mouth"]):
        return True  # "the opening wedge", "mouth opening 24 mm"
    if mention.id == "opening" and said == "opening":
        return bool(_MOUTHS & set(before[-1:]) or {"reamer", "reamers"} & set(after[:1]))
    if mention.id == "exposure" and said == "exposed":
        return bool(_FILMS & set(before))
    if mention.id == "internal-fixation" and said == "fixation" and after[:1] in (["suture"], ["sutures"]):
        return True
    if mention.id == "opening" and said == "opened" and behind is not None and behind.dimension == "length":
        return bool({"tested", "stress", "stressed", "it", "joint", "hook"} & set(before[-4:]))  # a joint that gave way
    if mention.id == "opening" and said == "opened":
        return bool(_PACKED & set(before[-4:]))
    if mention.id == "internal-fixation" and said == "pinned" and _UNDER & set(after[:2]):
        return True  # "his leg was pinned under the car"
    if mention.id == "internal-fixation" and said in ("fixed", "fixated") and _is_sewn(sentence, mention, grammar):
        return True
    if mention.id == "internal-fixation" and said in ("fixed", "pinned"):
        return bool(after and after[0] in ("to", "in", "on", "onto") and _PRESERVED & set(after)) or _is_tool(
            sentence, mention, grammar
        ) or bool(_STUCK_ON & set(before[-5:] + after[:2]))
    return False


def _is_likened(before: list[str]) -> bool:
    """ "In a fashion similar to a blepharoplasty", "as in a face lift": it was done like it."""
    lead = before[:-1] if before[-1:] and before[-1] in ("a", "an", "the", "for") else before
    return lead[-2:] in (["similar", "to"], ["as", "in"], ["as", "for"], ["akin", "to"], ["as", "with"]) or (
        lead[-3:] == ["to", "that", "of"] or lead[-3:-1] == ["as", "in"]
    )


def _describes_part(sentence: Sentence, mention: Mention, before: list[str]) -> bool:
    """ "The dilated pelvis", "stenosis with dilated ureter": a state of what is named right behind it; not "dilated
    cervix to 8 mm" at the head."""
    noun = any(m.table == "sites" and m.first == mention.last + 1 for m in sentence.mentions)
    return noun and bool(before) and before[-1] in _DESCRIBING


def _is_sewn(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """ "The graft was fixed into position with a 5-0 suture": held by a thread, and no bone set."""
    rows = grammar.table("devices", Device)
    _, end = clauses.bounds(sentence, mention.first)
    sewn = any(m.table == "sutures" and mention.last < m.first < end for m in sentence.mentions)
    return sewn and not any(
        m.table == "devices" and rows[m.id].implant and mention.last < m.first < end for m in sentence.mentions
    )


_RED = _words("nerve synovium sclera conjunctiva mucosa vessels tympanic drum membrane pharynx capsule eye lining")


def is_red(sentence: Sentence, mention: Mention) -> bool:
    """ "The nerve was hourglass shaped and injected": it was red, and nothing was injected."""
    start, end = clauses.bounds(sentence, mention.first)
    here = sentence.tokens[start : min(end, mention.last + 4)]
    given = any(token.quantity is not None and token.quantity.dimension in ("volume", "mass") for token in here)
    near = {token.norm for token in sentence.tokens[max(start, mention.first - _BACK) : mention.first]}
    after = sentence.tokens[mention.last + 1 : mention.last + 2]
    led = bool(after) and after[0].norm in ("with", "into", "under", "around", "at", "using")
    drug = any(m.table in ("drugs", "injectates") and start <= m.first < end for m in sentence.mentions)
    if given or led or drug:
        return False
    return bool(near & _RED) or _looked_so(sentence, mention)


_LOOKED = _words("looked looks appeared appears seemed mildly markedly diffusely heavily very quite slightly "
                 "moderately chronically acutely grossly somewhat")  # fmt: skip


def _looked_so(sentence: Sentence, mention: Mention) -> bool:
    """ "The tonsils were injected and swollen", "red and injected": told with how a thing looked."""
    tokens = sentence.tokens
    before = [token.norm for token in tokens[max(0, mention.first - 2) : mention.first]]
    after = [token.norm for token in tokens[mention.last + 1 : mention.last + 3]]
    if before[-1:] and before[-1] in _LOOKED:
        return True
    seen = {at for m in sentence.mentions if m.table in ("findings", "diagnoses") for at in range(m.first, m.last + 1)}
    seen |= {at for at, token in enumerate(tokens) if token.norm in _RED_TOO}
    return (after[:1] == ["and"] and mention.last + 2 in seen) or (before[1:] == ["and"] and mention.first - 2 in seen)


_RED_TOO = _words("red pink inflamed swollen boggy edematous oedematous congested hyperaemic hyperemic thickened angry")


def _is_of_implant(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether something that stays was driven in: "the needle was impacted" is no implant."""
    rows = grammar.table("devices", Device)
    return any(m.table == "devices" and rows[m.id].implant for m in sentence.mentions) or any(
        token.norm in _IMPLANTS for token in sentence.tokens
    )


def _is_to_a_number(sentence: Sentence, mention: Mention) -> bool:
    """ "Reduced to six millilitres": made less, and nothing put back in place."""
    ahead = sentence.tokens[mention.last + 1 : mention.last + 5]
    ahead = ahead[1:] if ahead and ahead[0].norm in ("it", "this", "that", "them") else ahead[:3]
    number = next((token for token in ahead if token.quantity is not None), None)
    led = bool(ahead) and ahead[0].norm in ("to", "down")
    return led and number is not None and number.norm in ("#number", "#volume", "#pressure", "#mass")


def _is_tool(sentence: Sentence, mention: Mention, grammar: Grammar) -> bool:
    """Whether the thing named last before an act is an instrument."""
    rows = grammar.table("devices", Device)
    low = max(0, mention.first - _BACK)
    named = [(m.last, not rows[m.id].implant) for m in sentence.mentions if m.table == "devices" and m.first >= low]
    named += [(hit.last, True) for hit in cues.hits(sentence, grammar, "instrument") if hit.first >= low]
    named += [(m.last, False) for m in sentence.mentions if m.table in ("sites", "findings", "diagnoses")]
    nearest = max(((last, tool) for last, tool in named if last < mention.first), default=(0, False))
    return nearest[1]


_FAILED = frozenset({"infected", "loose", "loosened", "failed", "failing", "painful", "worn", "dislocating", "broken"})
_MADE = frozenset({"replacement", "arthroplasty", "hemiarthroplasty", "fusion", "bypass", "fistula", "repair"})


def _is_had(sentence: Sentence, mention: Mention) -> bool:
    """ "The other hip has a THR", "left arm has AVF": what the patient came with, by the name of how it was made."""
    tokens = sentence.tokens
    at = mention.first - 1
    while at >= 0 and tokens[at].norm in _DETERMINING | _HAD_ALSO:
        at -= 1
    parts = any(m.table == "sites" and m.last == at - 1 for m in sentence.mentions)
    later = {token.norm for token in tokens[mention.last + 1 : mention.last + 4]}
    return at > 0 and tokens[at].norm in ("has", "have") and (parts or tokens[at - 1].norm in _BEARERS) and (
        later.isdisjoint(_DONE_NOW)
    )


_HAD_ALSO = _words("already an both bilateral cemented uncemented functioning well working good also")
_BEARERS = _words("he she patient side one lady gentleman")
_DONE_NOW = _words("done performed today now placed inserted planned booked scheduled")


def is_of_wound(sentence: Sentence, mention: Mention) -> bool:
    """ "An open wound of the left fourth ray amputation", "the stump of the amputation": what an operation left."""
    if mention.table != "procedures":
        return False
    at = mention.first - 1
    while at > 0 and (sentence.tokens[at].norm in _DETERMINING or (
        (said := sentence.tokens[at].quantity) is not None and said.form == "ordinal"
    )):  # fmt: skip
        at -= 1
    return at > 0 and sentence.tokens[at].norm == "of" and sentence.tokens[at - 1].norm in _LEFT_BY


_DETERMINING = _words("the a his her old previous prior left right")
_LEFT_BY = _words("wound wounds stump stumps scar scars site bed")


def is_old(sentence: Sentence, mention: Mention) -> bool:
    """ "Infected left total knee replacement", "the left knee has a TKR": what was made before."""
    if _is_had(sentence, mention):
        return True
    led = [token.norm for token in sentence.tokens[max(0, mention.first - 2) : mention.first]]
    if led == ["from", "the"] and any(m.table == "devices" and m.last == mention.first - 3 for m in sentence.mentions):
        return True  # "two screws from the tubercle transfer were removed"
    before = [token.norm for token in sentence.tokens[max(0, mention.first - 3) : mention.first]]
    while before and before[-1] in ("left", "right"):
        before.pop()
    if before[-1:] == ["old"] and before[-2:-1] not in (["year"], ["years"], ["yr"], ["month"], ["months"], ["week"]):
        return True  # "L ankle: old Brostrom, stable"
    behind = sentence.tokens[mention.last + 1 : mention.last + 3]
    if len(behind) > 1 and behind[0].norm in ("of", "from") and (
        clauses.is_year(behind[1]) or context_years.in_two(sentence, mention.last + 2)
    ):
        return True  # "the left total hip of twenty fifteen is stable"
    short = sentence.tokens[mention.last].text.isupper() and mention.id.endswith("arthroplasty")  # "failed UKR"
    if sentence.tokens[mention.last].norm not in _MADE and not short:
        return False
    for token in reversed(sentence.tokens[max(0, mention.first - 4) : mention.first]):
        if token.norm in _FAILED:
            return True
        if token.norm not in ("left", "right", "the", "cemented", "uncemented", "previous", "old"):
            return False
    return False
