"""The way in, told without a name: by where the cut or the ports lie, by their length, number or letters, or by what
was
parted on the way."""

from __future__ import annotations

import re

from pipeline.checks._words import ELSEWHERE
from pipeline.note import OperativeNote

# "Incision seven centimetres", "three ports", "transverse skin crease": the way in, told without a name.
_PLACED = (
    r"\d|one|two|three|four|five|six|seven|eight|nine|ten|twelve|fifteen|medial|lateral|anterior|posterior|"
    r"transverse|"
    r"longitudinal|midline|oblique|curved|straight|crease|dorsal|volar|palmar|vertical|horizontal|above|below|over"
)
_WAY_IN = re.compile(
    rf"\b(?:ports?|portals?|trocars?|sternotomy|thoracotomy|laparotomy|skin crease)\b|"
    rf"\bincision\b[^.]{{0,60}}\b(?:{_PLACED})[^.]{{0,30}}(?:centi|milli|mm\b|cm\b|inch|skin|side|medial|lateral|"
    r"anterior|posterior|midline|crease)", re.IGNORECASE,
)  # fmt: skip


# "Medial 7 cm", "cut 1325, dorsal 4 cm", "seven centimetres over the pes", "zigzag", "6R view, 1-2 working", "AM/AL",
# "viewing posterior": ways in by where they lie, their length, their numbers or letters.
_DIRECTION = (
    r"(?:antero|postero|dorso|volo)?-?(?:lateral|medial|anterior|posterior|dorsal|volar|palmar|plantar|ulnar|radial|"
    r"midline|transverse|longitudinal|oblique|straight|curved|collar|midaxial|midlateral)"
)
_NUMBERED = r"(?:3-4|4-5|6-?R|6-?U|1-2)"
_BY_PLACE = re.compile(
    rf"(?:^|[.;,:(] ?|\d\d ?|\b(?:skin|cut|inc\w*|knife|side)[:,]? ){_DIRECTION}(?: \w+){{0,2}},? "
    r"(?:\d+(?:\.\d+)?|[a-z]+) ?(?:cm\b|mm\b|centimet\w+|millimet\w+)|"
    r"(?:\d|\b(?:one|two|three|four|five|six|seven|eight|nine|ten|twelve|half)) ?(?:cm|centimet\w+)(?: \w+){0,2} "
    rf"(?:over|along|under|below|above|in line(?: w/?)?|in the (?:palm|crease|midline|axilla|groin)|{_DIRECTION})\b|"
    rf"\bzig-?zags?\b|\bpercutaneous|\bbruner|^\W*\d+(?:\.\d+)? ?cm\W*$|"
    rf"\b{_NUMBERED}\b[^.;]{{0,20}}\b(?:view\w*|work\w*|portals?|scope|shaver|used)\b|"
    r"\b(?:view\w*|work\w*|camera|scope|look\w*|in)(?: (?:was|from|in|through|via|by|at|the|and))* "
    rf"(?:{_NUMBERED}|(?:antero|postero)?(?:lateral|medial|anterior|posterior|superior)|back|front|soft spot)\b|"
    r"\b(?:post|ant|lat|med|antsup|antinf|posterior|anterior|lateral)(?:erior)? (?:view\w*|working)\b",
    re.IGNORECASE,
)  # fmt: skip
_LETTERS = r"(?:A[LM]|P[LM]|S[LM]|AAL|MAP|DALA|MC[RU]|[RU]MC)"
_LETTERED = re.compile(rf"\b{_LETTERS}(?: ?[/+&,] ?| and ){_LETTERS}\b")
# "Skin at 15:22, anterolateral, twelve centimetres", the flaps of an amputation.
_SKIN = re.compile(
    r"\b(?:skin|knife)\b[^.]{0,40}\b(?:antero|postero)?(?:lateral|medial|anterior|posterior|midline)\b|"
    r"\b(?:long|short|equal|skew|sagittal|anterior|posterior)\b[^.]{0,20}\bflaps?\b", re.IGNORECASE
)

_PLACE = (
    r"(?:over|across|along|around|round|under|above|below|behind|beside|between|low|high|usual|temporal|side|midline|"
    r"crease|front|back|palm|groin|neck|tummy|abdomen|flank|corner|medial|lateral|ulnar|radial|dorsal|volar|"
    r"transverse|"
    r"longitudinal|vertical|horizontal|oblique|curved|collar|bikini|navel|umbilicus|belly button|old scar)"
)
# "Usual low cut across", "clear corneal cut of two point four on the temporal side", "a stab over the crest".
_CUT = re.compile(
    rf"\b(?:cuts?|incised|incisions?|openings?|slits?|nicks?|stabs?|punctures?|keyholes?|"
    rf"scar)\b[^.;]{{0,50}}\b{_PLACE}\b|"
    rf"\b{_PLACE}(?: \w+){{0,2}} (?:cuts?|incisions?|openings?|slits?|nicks?|stabs?|keyholes?)\b(?! (?:dr[yi]|clean|"
    rf"heal))",
    re.IGNORECASE,
)
# "The usual two holes", "three little cuts", "4 ports".
_HOLES = re.compile(
    r"\b(?:usual|standard|normal|same|one|two|three|four|five|six|\d)(?: \w+){0,2} "
    r"(?:holes|keyholes?|stabs|cuts|trocars|puncture|punctures)\b(?! (?:in the (?:plate|bone)|drilled|plate))",
    re.IGNORECASE,
)
# "In from behind", "went in through the nose", "by the old scar", "up through the urethra".
_IN_FROM = re.compile(
    r"\b(?:straight|right) (?:down|through|over) (?:the|his|her) \w+|"
    r"\b(?:in|went|came|got|going|up|down|entered|through|approached|exposed|done|all)\b(?: \w+){0,2}? "
    r"(?:from (?:behind|the (?:front|back|side|inside|outside|top|left|"
    r"right|medial|lateral))|"
    r"(?:through|via|by|along) (?:the |his |her |an |a )?(?:old |previous |same |usual |left |right |lower |upper )*"
    r"(?:nose|nostrils?|mouth|urethra|vagina|cervix|rectum|anus|scar|wound|belly button|navel|umbilicus|groin|axilla|"
    r"ear canal|canal|fossa|eyelid|lid crease|conjunctiva|cornea|lip|palate|muscle|fascia|midline|crease))\b",
    re.IGNORECASE,
)
# "Midline.", "endaural", "I went in posteriorly", "5 cm 4th space".
_NAMED = re.compile(
    r"(?:^|[.;,] ?)(?:midline|paramedian|limbal|endaural|post-?aural|subcostal|bruner|zig-?zag)\b|"
    r"\b(?:went|came|got) in (?:postero|antero)?(?:lateral|medial|posterior|anterior|dorsal|volar)ly\b|"
    r"\b(?:\d(?:th|rd)|third|fourth|fifth|sixth) (?:(?:inter)?costal )?(?:inter)?space\b|\bJoel[- ]?Cohen\b|"
    r"\b(?:long|short|upper|lower|full|big|small) midline\b|\bDP approach\b|\bdelto-?pec\w*|"
    r"\b(?:first|second|both|two) (?:portals?|ports?|pedicles)\b", re.IGNORECASE,
)
# "FCR interval", "straps split in the midline", "along the front of the sternomastoid", "between the two heads".
_PARTED = re.compile(
    r"\binterval\b|\b(?:muscles?|straps?|conjunctiva|pericardium|scar|deltoid|fascia|platysma|band|tendon|sheath|"
    r"trapezius|vastus|quads?|fibres|"
    r"fibers|triceps|glutei|gluteus|capsule)\b(?: \w+){0,3} (?:split|parted|spread|swept|divided|opened|reopened|"
    r"used again|excised)\b|"
    r"\b(?:split|parted|spread)(?: \w+){0,2} (?:muscles?|straps?|deltoid|fascia|fibres|fibers|vastus|rectus)\b|"
    r"\balong the (?:\w+ )?(?:front|back|edge|border|line|inside|outside|crease|margin)\b|\bshort rotators? off\b",
    re.IGNORECASE,
)
# "Palm, in line w/ ring finger, 3 cm".
_AT_PLACE = re.compile(
    r"^\W*(?:palm|wrist|elbow|groin|neck|axilla|flank|knee|ankle|thigh|midline|scalp|back|loin)\b[^.;]{0,30}"
    r"\b\d+(?:\.\d+)? ?(?:cm|mm)\b", re.IGNORECASE,
)
# "Umbo 12, suprapubic 5, LIF 5".
_SITED = re.compile(
    r"\b(?:umb\w*|supra ?pub\w*|[LR]IF|[LR]UQ|[LR]LQ|epigast\w*|palmer'?s|subcost\w*|infraumb\w*|supraumb\w*)"
    r"[: ]{1,2}\d{1,2}\b|\b\d{1,2} ?(?:mm )?(?:umb\w*|suprapub\w*|epigast\w*)", re.IGNORECASE,
)  # fmt: skip
_WAYS = (_WAY_IN, _SKIN, _BY_PLACE, _LETTERED, _CUT, _HOLES, _IN_FROM, _PARTED, _SITED, _AT_PLACE, _NAMED)


def told(note: OperativeNote) -> bool:
    """Whether the story of the operation tells of a way in, in words that make no entry."""
    return any(
        way.search(passage.text) for passage in note.sections.description if passage.section not in ELSEWHERE
        for way in _WAYS
    )  # fmt: skip
