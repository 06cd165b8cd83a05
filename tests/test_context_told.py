"""Status and certainty in speech without marks and in terse typing: where a cue ends, and what it stands behind."""

from __future__ import annotations

import pytest
from reading_of import state


@pytest.mark.parametrize(
    ("text", "word", "status", "certainty"),
    [
        ("no loose bodies synovitis or crystals chondral surface smooth", "synovitis", "performed", "negated"),
        ("no loose bodies synovitis or crystals chondral surface smooth", "crystals", "performed", "negated"),
        ("no loose bodies synovitis or crystals chondral surface smooth", "smooth", "performed", "affirmed"),
        ("neither tear nor softening cruciates intact", "intact", "performed", "affirmed"),
        ("no vegetation three leaflets heavily calcified", "calcified", "performed", "affirmed"),
        ("liver smooth spleen normal ascites absent", "normal", "performed", "affirmed"),
        ("liver smooth spleen normal ascites absent", "ascites", "performed", "negated"),
        ("a tissue valve was implanted paravalvular leak none", "valve", "performed", "affirmed"),
        ("enoxaparin never started", "enoxaparin", "performed", "negated"),
        ("Tamsulosin never.", "tamsulosin", "performed", "negated"),
        ("Vancomycin not hung.", "vancomycin", "performed", "negated"),
        ("Trigger thumb release on the same side: deferred.", "release", "performed", "negated"),
        ("Triamcinolone unavailable.", "triamcinolone", "performed", "negated"),
        ("Hysteroscopy planned, cancelled.", "hysteroscopy", "performed", "negated"),
        ("Lidocaine 1 % (tourniquet not needed).", "lidocaine", "performed", "affirmed"),
        ("Lidocaine 1 % (tourniquet not needed).", "tourniquet", "performed", "negated"),
        ("Nerve flattened, not injected.", "flattened", "performed", "affirmed"),
        ("no local with adrenaline because of her heart", "adrenaline", "performed", "negated"),
        ("the plan was a meniscal repair we performed a meniscectomy instead", "repair", "performed", "negated"),
        ("the plan was a meniscal repair we performed a meniscectomy instead", "meniscectomy", "performed", "affirmed"),
        ("drilling was the original plan we debrided instead", "drilling", "performed", "negated"),
        ("the plan was a meniscal repair", "repair", "planned", "affirmed"),
        ("GA planned, spinal given.", "spinal", "performed", "affirmed"),
        ("GA planned, spinal given.", "ga", "planned", "affirmed"),
        ("Drain we wanted to put but the field was dry, so none.", "drain", "performed", "negated"),
        ("epidural planned but refused ertapenem one gram", "ertapenem", "performed", "affirmed"),
        ("Arthroscopy was offered, he is undecided.", "arthroscopy", "conditional", "affirmed"),
        ("He was offered an arthroscopy.", "arthroscopy", "conditional", "affirmed"),
        ("spinal attempted by the anaesthetist and abandoned", "spinal", "performed", "negated"),
        ("lidocaine was given adrenaline free", "adrenaline", "performed", "negated"),
        ("lidocaine was given adrenaline free", "lidocaine", "performed", "affirmed"),
        ("Adrenaline was left out of the bags.", "adrenaline", "performed", "negated"),
        ("drain deliberately avoided", "drain", "performed", "negated"),
        ("Sterilisation she signed for was withdrawn, so not done.", "sterilisation", "performed", "negated"),
        ("Plan: change the valve; the valve was found patent.", "patent", "performed", "affirmed"),
        ("left elbow arthroscopy previous transposition in 2016", "arthroscopy", "performed", "affirmed"),
        ("left elbow arthroscopy previous transposition in 2016", "transposition", "historical", "affirmed"),
        ("the catheter would not pass and the cholangiogram was given up", "cholangiogram", "performed", "negated"),
        ("no sedation requested skin cleaned with chlorhexidine", "chlorhexidine", "performed", "affirmed"),
        ("no sedation requested skin cleaned with chlorhexidine", "sedation", "performed", "negated"),
        ("complications nil if it swells we would aspirate it", "complications", "performed", "negated"),
        ("she had grommets in childhood cocaine was used", "grommets", "historical", "affirmed"),
        ("she had grommets in childhood cocaine was used", "cocaine", "performed", "affirmed"),
        ("Injection elsewhere, no benefit.", "injection", "historical", "affirmed"),
        ("No lesion elsewhere.", "lesion", "performed", "negated"),
        ("Restart rivaroxaban in two days.", "rivaroxaban", "planned", "affirmed"),
        ("Father AAA.", "aaa", "other_person", "affirmed"),
        ("Sister blind from macular degeneration.", "degeneration", "other_person", "affirmed"),
        ("his brother has gout he himself is diabetic", "gout", "other_person", "affirmed"),
        ("Her mother signed the consent for the cholecystectomy.", "cholecystectomy", "planned", "affirmed"),
        ("Mother and baby well, perineal tear repaired.", "tear", "performed", "affirmed"),
        ("Diagnostic laparoscopy ? endometriosis.", "laparoscopy", "performed", "affirmed"),
    ],
)
def test_told(text: str, word: str, status: str, certainty: str) -> None:
    assert state(text, word) == (status, certainty)
