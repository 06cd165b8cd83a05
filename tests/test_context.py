"""Status and certainty at a word. The truth is from reading the sentence."""

from __future__ import annotations

import pytest
from reading_of import read, state

NEGATED = [
    ("No purulence, some fibrin.", "purulence"),
    ("There was no evidence of bleeding or bile leak.", "leak"),
    ("Closed without a drain.", "drain"),
    ("Heparin was drawn up but not given.", "heparin"),
    ("Protamine was prepared but I did not give it.", "protamine"),
    ("Infection was ruled out.", "infection"),
    ("We ruled out a perforation.", "perforation"),
    ("The tourniquet was not inflated.", "tourniquet"),
    ("A labral tear was not seen.", "tear"),
    ("Chondral damage and loose bodies were not seen.", "damage"),
    ("no fracture no nerve palsy weight bearing fifty percent for six weeks", "palsy"),
    ("Closed reduction was attempted but failed.", "reduction"),
    ("Drains, none.", "drains"),
    ("Cefazolin was given, vancomycin was not given.", "vancomycin"),
    ("The suspected cyst was not confirmed.", "cyst"),
    ("Frozen section negative for malignancy.", "malignancy"),
    ("Staples were used instead of sutures.", "sutures"),
    ("We were unable to pass the wire.", "wire"),
    ("No loose bodies, fracture or synovitis.", "synovitis"),
    ("Neither hernia nor hydrocele.", "hydrocele"),
    ("misoprostol was drawn from the cupboard but not given uterus closed with one vicryl", "misoprostol"),
    ("Bronchoscopy N/A.", "bronchoscopy"),
    ("Basket tried w/o success.", "basket"),
    ("-ve for ulceration.", "ulceration"),
    ("Infection r/o.", "infection"),
    ("Planned sterilisation was not done.", "sterilisation"),
    ("We tried and failed to pass the wire.", "wire"),
    ("Sedation offered, declined.", "sedation"),
    ("Tourniquet applied, not inflated.", "tourniquet"),
    ("Tendons intact, nil triggering after.", "triggering"),
    ("I thought about a drain and left it out.", "drain"),
]
AFFIRMED = [
    ("no known allergies spinal anaesthesia with heavy bupivacaine", "bupivacaine"),
    ("block with levobupivacaine heparin was drawn up and never given", "levobupivacaine"),
    ("frozen section showed lymphoma so the endarterectomy was abandoned", "lymphoma"),
    ("no weakness back to the ward", "ward"),
    ("Tendons intact, nil triggering after.", "intact"),
    ("uterus opened without injury to the bladder baby girl out", "girl"),
    ("no cord round the neck placenta complete oxytocin five units", "oxytocin"),
    ("Labrum frayed, no full thickness tear, partial tear of about thirty percent.", "partial"),
    ("No chondral lesion, small loose body removed.", "loose"),
    ("No purulence, some fibrin.", "fibrin"),
    ("no pus, a little fibrin in the shoulder", "fibrin"),
    ("No effusion, little swelling.", "swelling"),
    ("There was no bleeding, and the hernia was reduced.", "hernia"),
    ("There was no bleeding, the hernia was reduced.", "hernia"),
    ("no fracture no nerve palsy weight bearing fifty percent for six weeks", "bearing"),
    ("Cefazolin was given, vancomycin was not given.", "cefazolin"),
    ("The cup was seated without difficulty, the stem followed.", "stem"),
    ("There was no change in the synovitis.", "synovitis"),
    ("Not only a tear but a cyst was found.", "tear"),
    ("Negative aspiration before the injection.", "injection"),
    ("The lesion was seen, it was not treated.", "lesion"),
    ("misoprostol was drawn from the cupboard but not given uterus closed with one vicryl", "vicryl"),
    ("A tear of the cuff, no fraying.", "tear"),
    ("The drain was left in place.", "drain"),
    ("no gapping skin five oh nylon", "nylon"),
]
SUSPECTED = [
    ("Infection cannot be excluded.", "infection"),
    ("We can't rule out a malignancy.", "malignancy"),
    ("Bile leak suspected.", "leak"),
    ("Bile leak suspected, drain placed.", "leak"),
    ("anastomotic leak suspected by the colour of the fluid", "leak"),
    ("Bowel perforation likely.", "perforation"),
    ("Suspected meniscal tear.", "tear"),
    ("Possible infection of the plate.", "infection"),
    ("A tear was suspected.", "tear"),
    ("Infection could not be ruled out.", "infection"),
    ("Lesion of the cord, ?SCC.", "scc"),
    ("R/o malignancy.", "malignancy"),
]


@pytest.mark.parametrize(("text", "word"), NEGATED)
def test_what_was_said_not_to_be_there(text: str, word: str) -> None:
    assert state(text, word)[1] == "negated"


@pytest.mark.parametrize(("text", "word"), AFFIRMED)
def test_what_stays_affirmed_beside_a_cue(text: str, word: str) -> None:
    assert state(text, word)[1] == "affirmed"


@pytest.mark.parametrize(("text", "word"), SUSPECTED)
def test_what_is_unsure(text: str, word: str) -> None:
    assert state(text, word)[1] == "suspected"


def test_a_suspicion_that_is_confirmed_is_none() -> None:
    assert state("The suspected meniscal tear was confirmed.", "tear")[1] == "affirmed"


@pytest.mark.parametrize(
    ("text", "word", "status"),
    [
        ("Sutures will be removed in two weeks.", "sutures", "planned"),
        ("She should keep the sling on.", "sling", "planned"),
        ("A radiocephalic fistula had been planned.", "fistula", "planned"),
        ("Plan was a fusion, we did a cheilectomy.", "fusion", "planned"),
        ("Plan was a fusion, we did a cheilectomy.", "cheilectomy", "performed"),
        ("Wanted the long nail but used the short nail.", "long", "planned"),
        ("Wanted the long nail but used the short nail.", "short", "performed"),
        ("If the pain persists, we will repeat the injection.", "injection", "conditional"),
        ("Risks including infection and nerve injury were discussed.", "infection", "conditional"),
        ("Padding was placed to prevent nerve palsy.", "palsy", "conditional"),
        ("A larger head would overstep the joint.", "joint", "conditional"),
        ("He has a history of deep vein thrombosis.", "thrombosis", "historical"),
        ("Right lumpectomy in 2015.", "lumpectomy", "historical"),
        ("the first hip was done on the left in twenty eleven", "hip", "historical"),
        ("A carpal tunnel release was done two years ago.", "release", "historical"),
        ("The right knee was replaced in May and is doing well.", "replaced", "historical"),
        ("The other hip was replaced last spring.", "replaced", "historical"),
        ("The left hip has a hemiarthroplasty from 2019.", "hemiarthroplasty", "historical"),
        ("He may walk, the knee was replaced.", "replaced", "performed"),
        ("Her mother had a deep vein thrombosis.", "thrombosis", "other_person"),
        ("her sister had a thrombosis she has asthma", "asthma", "performed"),
        ("The next patient on the list has a pneumothorax.", "pneumothorax", "other_person"),
        ("Planned sterilisation was not done, she changed her mind.", "sterilisation", "performed"),
        ("H/o left nephrectomy.", "nephrectomy", "historical"),
        ("Her dad died of a clot.", "clot", "other_person"),
        ("We had gone over stenting with him and he chose the operation.", "stenting", "conditional"),
        ("Appendicectomy (2010).", "appendicectomy", "historical"),
        ("Left hernia repair 0805.", "repair", "performed"),
        ("Used to take warfarin.", "warfarin", "historical"),
        ("The screw takes well in the bone.", "bone", "performed"),
        ("the first hip was done in twenty eleven general anaesthesia supine", "supine", "performed"),
        ("The plan was discussed prior to the incision.", "incision", "performed"),
        ("It should be noted that the nerve was seen.", "nerve", "performed"),
        ("The previously marked incision was opened.", "incision", "performed"),
        ("Incision at eight fifty.", "incision", "performed"),
    ],
)
def test_when_something_holds(text: str, word: str, status: str) -> None:
    assert state(text, word)[0] == status


def test_the_rule_that_fired_is_kept() -> None:
    (sentence,) = read("No loose bodies.").sentences
    assert [(scope.axis, scope.value, scope.rule) for scope in sentence.scopes] == [("certainty", "negated", "no")]


def test_every_rule_fires_in_one_of_its_examples() -> None:
    from pipeline import grammar
    from pipeline.rows import ContextRule

    for ident, row in grammar.load().table("context", ContextRule).items():
        for example in row.examples:
            fired = {scope.rule for sentence in read(example).sentences for scope in sentence.scopes}
            assert ident in fired, f"{ident}: {example}"
        for example in row.not_examples:
            fired = {scope.rule for sentence in read(example).sentences for scope in sentence.scopes}
            assert ident not in fired, f"{ident}: {example}"


@pytest.mark.parametrize(
    ("text", "word", "expected"),
    [
        ("the right side was not touched gentamicin two hundred milligrams", "gentamicin", ("performed", "affirmed")),
        ("the cyst was not infected", "cyst", ("performed", "affirmed")),
        ("no arthroscopy was performed", "arthroscopy", ("performed", "negated")),
        (
            "we did a left tarsal tunnel release the nerve was swollen if there is numbness an emg will be done",
            "release", ("performed", "affirmed"),
        ),
        (
            "the nerve was swollen if there is numbness a revision would be considered",
            "revision", ("conditional", "affirmed"),
        ),
        ("history of an ectopic in 2012 veress entry at the umbilicus", "veress", ("performed", "affirmed")),
    ],
)  # fmt: skip
def test_a_cue_keeps_to_its_clause(text: str, word: str, expected: tuple[str, str]) -> None:
    assert state(text, word) == expected


@pytest.mark.parametrize(
    ("text", "word", "status", "certainty"),
    [
        ("We decided against an acromioplasty.", "acromioplasty", "performed", "negated"),
        ("Durotomy avoided.", "durotomy", "performed", "negated"),
        ("Durotomy was avoided by careful dissection.", "durotomy", "performed", "negated"),
        ("Critical view not achieved.", "view", "performed", "negated"),
        ("Adjustable suture wasn't used.", "suture", "performed", "negated"),
        ("Pneumothorax excluded on screening.", "pneumothorax", "performed", "negated"),
        ("A perforation was excluded.", "perforation", "performed", "negated"),
        ("A plastic stent was considered but not needed.", "stent", "performed", "negated"),
        ("To avoid a bile leak the stump was oversewn.", "oversewn", "performed", "affirmed"),
        ("Because of the risk of dislocation a larger head was chosen.", "head", "performed", "affirmed"),
        ("Given the risk of infection gentamicin was added.", "gentamicin", "performed", "affirmed"),
        ("The left eye is to be done in four weeks.", "eye", "planned", "affirmed"),
        ("A drain was placed, to be removed tomorrow.", "drain", "performed", "affirmed"),
        ("Heparin was given per protocol.", "heparin", "performed", "affirmed"),
        ("Cefazolin per protocol.", "cefazolin", "performed", "affirmed"),
        ("The dura had been torn at the index operation.", "torn", "historical", "affirmed"),
        ("The hardware had been placed elsewhere.", "hardware", "historical", "affirmed"),
        ("She had had two steroid injections on the right.", "injections", "historical", "affirmed"),
        ("Preoperatively he had had a steroid injection.", "injection", "historical", "affirmed"),
        ("The stump was oversewn rather than stapled.", "stapled", "performed", "negated"),
        ("Rather than a screw we used a plate.", "screw", "performed", "negated"),
        ("Rather than a screw we used a plate.", "plate", "performed", "affirmed"),
        ("Instead of an anchor a bone tunnel was used.", "anchor", "performed", "negated"),
        ("Instead of an anchor a bone tunnel was used.", "used", "performed", "affirmed"),
        ("A plate was used instead of a nail.", "plate", "performed", "affirmed"),
        ("A plate was used instead of a nail.", "nail", "performed", "negated"),
        ("Mother had gallstones.", "gallstones", "other_person", "affirmed"),
        ("Mother's sister had ovarian cancer.", "cancer", "other_person", "affirmed"),
        ("No fusion was done as there was no instability.", "fusion", "performed", "negated"),
        ("Vancomycin powder not used in this case.", "vancomycin", "performed", "negated"),
        ("Sterilisation was discussed but not performed.", "sterilisation", "performed", "negated"),
        ("Endometrial ablation not done since she wishes to keep her options.", "ablation", "performed", "negated"),
        ("We did not need to convert to open.", "open", "performed", "negated"),
        ("No conversion was necessary.", "conversion", "performed", "negated"),
        ("I did not see any tear.", "tear", "performed", "negated"),
        ("There was neither a tear nor a loose body.", "tear", "performed", "negated"),
        ("There was neither a tear nor a loose body.", "body", "performed", "negated"),
        ("The nerve was seen and not injured.", "nerve", "performed", "affirmed"),
        ("A screw was opened but not used.", "screw", "performed", "negated"),
        ("Morphine was drawn up and thrown away.", "morphine", "performed", "negated"),
        ("Fentanyl was prepared but she did not need it.", "fentanyl", "performed", "negated"),
        ("Tranexamic acid was forgotten.", "tranexamic", "performed", "negated"),
        ("Aspirin was continued.", "aspirin", "performed", "affirmed"),
        ("We left the appendix.", "appendix", "performed", "affirmed"),
        ("A tear could not be excluded.", "tear", "performed", "suspected"),
        ("Query loose body on the left.", "body", "performed", "suspected"),
        ("A tear had been suspected but was not found.", "tear", "performed", "negated"),
        ("A suspected perforation was not there.", "perforation", "performed", "negated"),
        ("No perforation, no bleeding, just a small haematoma.", "haematoma", "performed", "affirmed"),
        ("Without tourniquet, under local.", "tourniquet", "performed", "negated"),
        ("Haemostasis without diathermy.", "diathermy", "performed", "negated"),
        ("The ulnar nerve was not only compressed but flattened.", "flattened", "performed", "affirmed"),
        ("The previously placed stent was removed.", "stent", "performed", "affirmed"),
        ("Old plate removed, new plate applied.", "applied", "performed", "affirmed"),
        ("After failed conservative treatment carpal tunnel release was done.", "release", "performed", "affirmed"),
        ("A drain was not thought necessary.", "drain", "performed", "negated"),
        ("A drain was unnecessary.", "drain", "performed", "negated"),
        ("Drain: not required.", "drain", "performed", "negated"),
        ("Tourniquet: no.", "tourniquet", "performed", "negated"),
        ("Tourniquet - nil.", "tourniquet", "performed", "negated"),
        ("The nail would not pass so a smaller one was used.", "used", "performed", "affirmed"),
        ("Wire passed easily, no false route.", "passed", "performed", "affirmed"),
        ("No, give me the three oh vicryl.", "vicryl", "performed", "affirmed"),
        ("I never touched the ureter.", "ureter", "performed", "negated"),
        ("The patient refused a spinal, so general.", "spinal", "performed", "negated"),
        ("The patient refused a spinal, so general.", "general", "performed", "affirmed"),
        ("Spinal failed, converted to general.", "spinal", "performed", "negated"),
        ("Spinal failed, converted to general.", "general", "performed", "affirmed"),
        ("Despite a good block he needed general.", "general", "performed", "affirmed"),
        ("Attempted closed reduction without success, so open.", "reduction", "performed", "negated"),
    ],
)
def test_said_in_passing(text: str, word: str, status: str, certainty: str) -> None:
    assert state(text, word) == (status, certainty)
