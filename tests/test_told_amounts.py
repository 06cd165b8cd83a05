"""Numbers, doses and ways of the needle told freely: each pair of sentences differs in one number or word, and the
named check speaks of the wrong one and is silent on the right; and sentences whose amounts must be read as said.

The sentences are invented; the truth of each was written before it was run.
"""

from __future__ import annotations

import pytest

from pipeline import run

# (check, right words, wrong words, the sentence with ___ where they stand)
TOLD = (
    ("mixture_total", "fifteen", "twenty five",
     "Mixed ten of ropi with ten of lido and injected ___ of the mixture into the left knee."),
    ("mixture_total", "15 mL", "30 mL",
     "Mixed 10 mL of 0.5% bupivacaine with 10 mL of 1% lidocaine. We then injected ___ of the mixture into the right "
     "shoulder."),
    ("mixture_total", "nine mils", "twelve mils",
     "Five mils of marcaine and five mils of lidocaine were drawn up together in one syringe. Of this, ___ were put "
     "into the left hip."),
    ("mixture_total", "30 mL", "50 mL",
     "The pharmacist combined 20 mL ropivacaine 0.5 % with 20 mL saline. From this ___ was infiltrated around the left "
     "hip."),
    ("mixture_total", "3 mL laterally", "5 mL laterally",
     "We mixed 4 mL lidocaine with 4 mL marcaine. 5 mL of the mixture was injected medially and ___, right knee."),
    ("mixture_total", "10 mL of the mixture", "14 mL of the mixture",
     "We mixed 4 mL lidocaine, 4 mL marcaine and 2 mL of kenalog. ___ went into the right subacromial space."),
    ("two_values", "Depo-Medrol 40 mg.", "Depo-Medrol 80 mg.",
     "Left shoulder. Injected 40 mg Depo-Medrol with 4 mL 1% lidocaine. Summary: left shoulder injected, ___"),
    ("two_values", "two grams", "one gram",
     "I gave her two grams of Ancef at induction. In the summary: antibiotic Ancef ___."),
    ("two_values", "Kenalog 40 mg was", "Kenalog 80 mg was",
     "PROCEDURE: Right knee injection, Kenalog 40 mg. DESCRIPTION: The knee was prepped. ___ injected into the joint."),
    ("two_values", "10 mL of 1%", "15 mL of 1%",
     "ANESTHESIA: Local, 10 mL 1% lidocaine. DESCRIPTION: The left thumb was infiltrated with ___ lidocaine."),
    ("two_values", "forty milligrams of depo.", "eighty milligrams of depo.",
     "Left knee: we gave forty milligrams of depo and three mils of one percent lidocaine. So that was three mils of "
     "lidocaine and ___"),
    ("two_values", "250 mmHg", "300 mmHg",
     "Tourniquet 250 mmHg, left thigh. Left knee arthroscopy. Tourniquet: ___ for 40 minutes."),
    ("two_values", "raised to 300 mmHg", "was 300 mmHg",
     "Tourniquet 250 mmHg. Left knee arthroscopy. Cuff pressure ___, a dry field throughout."),
    ("dose_arithmetic", "one millilitre of it", "ten millilitres of it",
     "Forty milligrams of depo, ___, into the right knee."),
    ("dose_arithmetic", "eighty", "forty",
     "___ milligrams of kenalog, two mils of it, from the forty vial, right knee."),
    ("dose_arithmetic", "(2 mL)", "(20 mL)", "Depo-Medrol 80 mg ___ and 3 mL lidocaine 1%, right shoulder."),
    ("drug_volume", "one millilitre", "eighty millilitres", "The right knee got ___ of kenalog."),
    ("drug_dose", "eighty milligrams", "four hundred milligrams", "Methylprednisolone ___ intra-articular, knee."),
    ("drug_dose", "iv", "into the left knee", "Methylprednisolone five hundred milligrams ___."),
    ("local_anaesthetic", "with adrenaline", "plain",
     "He's ninety kilos, forty mils of one percent lidocaine ___ to the right groin."),
    ("units_in_words", "four centimetres long", "four millilitres long", "Incision ___ on the right forearm."),
    ("units_in_words", "of five cm", "of five mL", "Incision ___ over the right wrist."),
    ("plausible", "four centimetres", "forty centimetres",
     "The drill went in to a depth of ___, left femur cortex screw."),
    ("injection_total", "put in fifteen", "put in twenty five",
     "We took twenty mils of marrow and ___, right crest to right ankle."),
    ("injection_total", "fifteen mils put back", "twenty five mils put back",
     "Twenty mils of marrow was taken from the right crest and ___ into the ankle."),
    ("injection_total", "R knee 4 mL IA + 3 mL", "R knee 4 mL IA + 5 mL",
     "BMAC: 60 mL harvested R ASIS, concentrated to 7 mL; ___ subchondral."),
    ("harvest_balance", "2 mL were discarded", "4 mL were discarded",
     "Lipoaspirate 50 mL from the abdomen, washed to 12 mL of graft. 10 mL were injected into the right knee and ___."),
    ("draw_total", "sixty mils", "fifty mils", "We pulled ___ of marrow from the right PSIS in twelve passes of five."),
    ("needle_depth", "to one and a half", "to two and a half",
     "Went in one centimetre below cortex and took 3 mL, then advanced half a centimetre ___ and took another 3 mL, "
     "right crest."),
    ("needle_depth", "one and a half centimetres for", "three centimetres for",
     "First draw one centimetre below the cortex, then in another half centimetre to ___ the second, right crest."),
    ("needle_depth", "four centimetres. Right", "three centimetres. Right",
     "Needle at four centimetres, eight turns out at half a centimetre each makes ___ crest."),
    ("needle_depth", "four centimetres of", "three centimetres of",
     "Eight turns of half a centimetre, ___ withdrawal, right crest."),
    ("needle_depth", "three centimetres in all", "two centimetres in all",
     "Backed the needle up six turns, half a centimetre a turn, ___, right crest."),
)


@pytest.mark.parametrize(("check", "right", "wrong", "sentence"), TOLD, ids=[f"{row[0]}-{row[2]}" for row in TOLD])
def test_the_check_speaks_of_the_wrong_words_only(check: str, right: str, wrong: str, sentence: str) -> None:
    spoke = [
        [one for one in run.note_from_text(sentence.replace("___", words)).findings
         if one.check == check and one.severity != "note"]
        for words in (right, wrong)
    ]  # fmt: skip
    assert not spoke[0], spoke[0]
    assert spoke[1]


# (sentence, (kind, name, value, unit) ...): every number of these kinds that it must be read as, and no other
AMOUNTS = ("medication_volume", "medication_dose", "injection_volume", "injection_total", "draw", "product_volume")
READ = (
    ("Right shoulder. Mixed 10 mL of 0.5% bupivacaine with 10 mL of 1% lidocaine.",
     (("medication_volume", "bupivacaine", "10", "mL"), ("medication_volume", "lidocaine", "10", "mL"))),
    ("I mixed four mils of ropivacaine with forty milligrams of kenalog and injected it, right shoulder.",
     (("medication_volume", "ropivacaine", "4", "mL"), ("medication_dose", "triamcinolone", "40", "mg"))),
    ("Four mils of marcaine mixed with forty milligrams of kenalog, right shoulder.",
     (("medication_volume", "bupivacaine", "4", "mL"), ("medication_dose", "triamcinolone", "40", "mg"))),
    ("Right shoulder injection, lidocaine mixed with bupivacaine 10 mL injected.",
     (("medication_volume", "mixture", "10", "mL"),)),
    ("Combined 3 cc lidocaine with 3 cc of marcaine and 1 cc of kenalog, right knee.",
     (("medication_volume", "lidocaine", "3", "mL"), ("medication_volume", "bupivacaine", "3", "mL"),
      ("medication_volume", "triamcinolone", "1", "mL"))),
    ("4 mL lidocaine, 5 mL marcaine and 2 mL of kenalog forty milligrams per mil into the right knee.",
     (("medication_volume", "lidocaine", "4", "mL"), ("medication_volume", "bupivacaine", "5", "mL"),
      ("medication_volume", "triamcinolone", "2", "mL"))),
    ("Sub-Tenon block four mils of two percent lidocaine with hyalase, right eye.",
     (("medication_volume", "lidocaine", "4", "mL"),)),
    ("Botox 300 units in 30 mL, 20 injection sites into the detrusor.",
     (("medication_dose", "botulinum-toxin", "300", "[USP'U]"), ("medication_volume", "botulinum-toxin", "30", "mL"))),
    ("I took out forty mils of marrow from the crest and gave thirty mils to the hip.",
     (("draw", None, "40", "mL"), ("injection_volume", None, "30", "mL"))),
    ("Twenty mils of marrow was taken and put in a syringe and fifteen mils injected into the ankle.",
     (("draw", None, "20", "mL"), ("injection_volume", None, "15", "mL"))),
)  # fmt: skip


@pytest.mark.parametrize(("sentence", "wanted"), READ, ids=[row[0][:40] for row in READ])
def test_amounts_are_of_what_they_were_said_of(sentence: str, wanted: tuple[tuple[str | None, ...], ...]) -> None:
    told = [(fact.kind, fact.name, str(fact.value), fact.unit) for fact in run.note_from_text(sentence).of(*AMOUNTS)]
    assert sorted(told, key=str) == sorted(wanted, key=str)


def test_a_dose_is_not_made_up_to_what_was_given_of_the_marrow() -> None:
    note = run.note_from_text(
        "Marrow from the right ASIS. Heparin 5000 U in 5 mL. Yielded 3 mL, injected 3 mL intra-articular right knee."
    )
    assert not [one for one in note.findings if one.check == "diluted_dose"]


@pytest.mark.parametrize("said", ["all reinjected into", "the whole lot injected into", "all injected into"])
def test_all_of_it_injected_is_given(said: str) -> None:
    note = run.note_from_text(f"Right crest, five draws of two mils, ten mils, {said} the right tibial nonunion.")
    assert not [one for one in note.findings if one.check == "prepared_not_given"]


@pytest.mark.parametrize(("said", "time"), [
    ("clindamycin nine hundred milligrams at twelve minutes to eight", "07:48"),
    ("cefazolin two grams at five to nine", "08:55"), ("cefazolin two grams at ten past nine", "09:10"),
])
def test_an_antibiotic_is_given_at_its_time(said: str, time: str) -> None:
    assert [fact.text for fact in run.note_from_text(f"Right knee. {said}").of("clock_time")] == [time]
