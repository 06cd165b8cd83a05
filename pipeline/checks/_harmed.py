"""Harm that was done and mended in the same operation, in words of which no complication is made: "the popliteal
artery was lacerated and repaired", "the calcar cracked and was cabled". What may be harmed, and by which words it is
told, are common English usage, no source."""

from __future__ import annotations

import re

_VESSEL = r"(?:arter(?:y|ies)|veins?|vena cava|aorta)"
_PART = (
    r"(?:spleen|liver|bladder|(?:small |large )?bowel|ileum|jejunum|caecum|cecum|colon|rectum|stomach|duodenum|ureter|"
    r"urethra|uterus|cervix|vagina|nerve|dura|pleura|diaphragm|kidney|pancreas|bile duct|oesophagus|esophagus|trachea|"
    r"lung|ligament|tendon|capsule|retinaculum|calcar|cortex|trochanter|malleolus|condyle|tuberosity|glenoid|lip|"
    r"tongue|cheek|eyelid|drum|ossicle|cornea|iris|serosa|vas|duct|lamina|sternum|acetabulum|" + _VESSEL + r")"
)
_TOOL = (
    r"(?:guide ?wire|needle|drill(?: bit)?|k-?wire|blade|burr|reamer|tip|wire|saw|anchor|screw|plate|trocar|awl|shaver|"
    r"probe|grasper|catheter|cannula|punch|screwdriver|instrument|osteotome)"
)
_VERB = (
    r"(?:torn|tore|lacerated|perforated|punctured|nicked|holed|breached|injured|avulsed|cracked|split|buttonholed|"
    r"damaged|scuffed|burnt|burned)"
)
_MENDED = (
    r"(?:repaired|closed|sutured|oversewn|stitched|patched|sewn|clipped|packed|cabled|wired|fixed|reattached|"
    r"re-?implanted|re-?anastomosed|ligated|tied|plated|screwed|glued|sealed|mended)"
)
# "The popliteal artery was lacerated (at the adductor hiatus) and repaired with 6-0", "a split calcar was cabled".
HARMED_AND_MENDED = re.compile(
    rf"\b{_PART}(?: \w+){{0,2}} (?:(?:was|were|got|had been|has been) )?(?:\w+ly )?{_VERB}(?: \w+){{0,6}}?,?"
    rf" (?:and|then|so|but|which|that)(?: \w+){{0,3}} {_MENDED}\b|"
    rf"\b(?:tear|laceration|perforation|rent|hole|breach|nick|puncture|crack|split|injury)s? "
    rf"(?:of|to|in|into|through|at) (?:the |a )?(?:\w+ ){{0,2}}{_PART}(?: \w+){{0,5}}?(?:,|,? (?:was|were|and|which|"
    rf"that)(?: \w+){{0,3}}) {_MENDED}\b|\b(?:stump|artery|vein|branch|vessel|bed) bled,? "
    rf"(?:about |around |some |for )?~?\d{{3,}}|"
    rf"\b(?:dural|serosal|capsular|diaphragmatic|pleural|splenic|caval|ureteric|mucosal|tracheal|rectal|vaginal) "
    rf"(?:tear|rent|hole|nick|breach|laceration|defect|injury)s?\b(?:,? \w+){{0,6}}?,? {_MENDED}\b|"
    r"\b(?:medial collateral|lateral collateral|collateral ligament|patellar tendon|popliteus|ureter|vas(?: deferens)?|"
    r"urethra) (?:was|were|got|had been) (?:\w+ly )?(?:cut|transected|severed|divided)\b(?: \w+){0,8}? "
    rf"(?:and|then|so) (?:\w+ ){{0,3}}{_MENDED}\b|"
    r"\bgraft (?:was |got )?(?:dropped|fell|contaminated)\b|"
    r"\bbab(?:y|y's|ies) (?:\w+ ){0,2}(?:was |got )?(?:nicked|cut|lacerated|scratched|grazed)\b|"
    rf"\b{_TOOL} (?:\w+ )?(?:broke|snapped|sheared)(?: off)?\b(?! the\b)|"  # "broke the rim": something else
    rf"\b(?:fragment|piece|tip|end) of (?:the |a )?{_TOOL} (?:was |is )?"
    r"(?:retained|left (?:behind|in)|not retrieved)\b|"
    rf"\b(?:{_VESSEL}|nerve|bowel|bladder|ureter|urethra|bile duct|dura|rectum|oesophagus|esophagus|trachea|spleen|"
    r"diaphragm) (?:was|were|got|has been|had been) (?:\w+ly )?(?:injured|lacerated|nicked|perforated|damaged)\b|"
    r"\b(?:he|she|patient) bled (?:about |some |around )?(?:\d{3,}|[a-z]+ hundred)\b", re.I,
)  # fmt: skip
WORDS = (
    "torn", "tore", "tear", "lacerat", "perforat", "punctur", "nick", "hole", "breach", "injur", "avuls", "crack",
    "split", "damaged", "scuff", "burn", "rent ", "transected", "severed", "divided", "dropped", "fell", "contaminated",
    "broke", "snapped", "sheared", "bled ", " cut ", "scratched", "grazed", "defect", "retained", "left ", "retrieved",
)  # fmt: skip
# What the operation was for: after these, any harm may have been the illness ...
_HURT = re.compile(
    r"lacerat|trauma|injur|wound|stab|gunshot|\bshot\b|crush|\bbite\b|accident|glass|knife|\bfell\b|\bfall\b|"
    r"bleed|bled|haemorrhag|hemorrhag", re.I,
)  # fmt: skip
# ... after these, harm of a part of that sort.
_SORTS = (
    (r"arter|vein|vena|aort",
     r"aneurysm|(?:aortic|carotid|arterial) dissection|graft|bypass|fistula|endarterect|embol|occlusion|stenosis"),
    (r"calcar|cortex|trochanter|malleol|condyle|tuberosity|glenoid|lamina|sternum|acetabul",
     r"fractur|#|dislocat|broken"),
    (r"ligament|tendon|capsule|retinaculum|popliteus|collateral",
     r"instabil|dislocat|reconstruct|tear|torn|ruptur|repair|avuls|release"),
    (r"drum|ossicle", r"tympan|myring|ossicul|perforat"),
    (r"cervix|vagina|uterus|rectum|perine", r"deliver|birth|section|caesar|cesar|fistula|prolapse|rupture"),
    (r"vas\b|urethra|ureter|bladder|bowel|colon|rectum|stomach|duoden|ileum|jejun|caecum|cecum|oesoph|esoph",
     r"perforat|fistula|stricture|vasectom|volvul|strangulat|ulcer|ruptur"),
)  # fmt: skip
_ON_PURPOSE = re.compile(r"capsule (?:was )?split|split (?:in line|along|longitudinally|with|between)")
_NO_PART = re.compile(rf"{_TOOL}|graft|baby|fragment|piece|end ", re.I)


_CAME_SO = re.compile(
    r"\bby (?:a |the |his |her )?(?:glass|knife|bullet|machine|window|fall|metal|tin|dog|chisel)\b", re.I
)


def came_so(text: str) -> bool:
    """ "The radial artery was lacerated by glass": whether the words tell that the patient came with it."""
    return _CAME_SO.search(text) is not None


def is_illness(ill: str, words: str) -> bool:
    """Whether what was harmed may have been so before: `ill` is what the operation was for, in small letters."""
    if _NO_PART.match(words):
        return "broken" in ill or "hardware" in ill
    said = words.lower()
    if _ON_PURPOSE.search(said):
        return True
    parts = set(re.findall(_PART, said, re.I))
    if re.search("divided|cut|severed|transected", said) and any(part[:3] in ill for part in parts):
        return True  # "the ureter was divided and reimplanted": a reimplantation
    hurt = re.search("torn|tear|ruptur|perforat|split|hole", ill)
    if _HURT.search(ill) or hurt and any(re.search(rf"\b{part}\b", ill) for part in parts):
        return True
    return any(re.search(part, said) and re.search(illness, ill) for part, illness in _SORTS)
