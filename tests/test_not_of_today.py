"""What was not done or found in this operation by the way it is told: by another doctor, before today, if it had gone
otherwise, as a rule, told beforehand, taken for something else; harm that was mended; a second heading over what was
done. The sentences and what each says are common English usage and common practice, no source."""

from __future__ import annotations

import pytest
from cases_runner import facts_of

from pipeline import run
from pipeline.records import Fact


def _stands(fact: Fact, words: str) -> bool:
    said = " ".join(str(one) for one in (fact.kind, fact.name, fact.text, fact.value, fact.unit) if one is not None)
    told = fact.kind not in ("consent", "imaging", "history", "indication") and fact.role not in ("avoid", "discarded")
    done = (fact.status, fact.certainty) == ("performed", "affirmed")
    return told and done and words in said.lower().replace("-", " ").replace("_", " ")


# (narration, what must not stand as done or found without a doubt, what must stand); words apart by "|".
TOLD = (
    ("The referring dentist had extracted 36 and prescribed amoxicillin. Today incision and drainage, left mandible.",
     "amoxicillin|extraction", "drainage"),
    ("The emergency room had reduced the dislocation and applied a splint. Today open reduction of the ankle, left.",
     "splint", "reduction"),
    ("The ambulance crew had given ketamine 50 mg and put on a traction splint. Nail 11 by 400 mm, right femur.",
     "ketamine|splint", "400"),
    ("ER doc reduced it twice and put on a backslab. ORIF of the left distal radius.", "splint", "open reduction"),
    ("The local team had fixed the femur with a plate which broke. Exchange nailing today, 12 by 380 nail.", "plate",
     "380"),
    ("The emergency team gave her 1 g of tranexamic acid. In theatre a splenectomy was done.", "tranexamic",
     "splenectomy"),
    ("He has been treated with a halo for eleven weeks. C5/6 fusion with a 14 mm plate.", "halo", "plate"),
    ("He had been managed with a cast for three weeks, then the position was lost. ORIF of the radius, left.",
     "dressing", "open reduction"),
    ("He had been given ceftriaxone 2 g and metronidazole 500 mg in the emergency department. Lap appendectomy.",
     "ceftriaxone|metronidazole|500", "append"),
    ("She received two units of packed cells on the ward overnight. Laparotomy for adhesions.", "packed", "laparotomy"),
    ("Had the hip been unstable a lipped liner would have been next. Right hip replacement.", "instability|unstable",
     "hip"),
    ("Had there been a leak I would have left a drain. Sleeve gastrectomy.", "leak|drain", "gastrectomy"),
    ("We would normally leave a drain after this but it was dry so I did not. Total thyroidectomy.", "drain",
     "thyroidectomy"),
    ("Usually these need a bone graft, hers did not. ORIF right tibial plateau with a locking plate.", "graft",
     "locking plate"),
    ("Most surgeons would put in a drain here, I did not. Open hernia repair right with mesh.", "drain", "hernia"),
    ("Usually I put 40 mg of triamcinolone in, today only 20 mg went in. Right shoulder injection.", "40", "20"),
    ("In most cases two anchors are enough. Here three anchors were placed for the cuff.", "count 2",
     "device count suture anchor 3"),
    ("I told him that recurrence occurs in 5 percent and that a dural tear might need bed rest. L5/S1 discectomy.",
     "dural|recurrence|recurs", "discectomy"),
    ("The parents were told that bleeding happens in three percent and a transfusion is rare. Tonsillectomy.",
     "bleeding|transfusion|3", "tonsillectomy"),
    ("Explained about seroma, flap necrosis and lymphoedema (5%). Right mastectomy.", "lymphoedema|seroma|5",
     "mastectomy"),
    ("What looked like a serosal tear turned out to be an old adhesion. Laparoscopic adhesiolysis.", "tear",
     "adhesions"),
    ("The suspected tear turned out to be a radial tear of the lateral meniscus. Knee scope left.", "nothing", "tear"),
    ("Crura came together easily and mesh was left off. Fundoplication.", "mesh", "fundoplication"),
    ("A shunt was available throughout, clamping was tolerated. Right carotid endarterectomy.", "shunt",
     "endarterectomy"),
    ("Vancomycin was mixed but he went red so it went down the sink; clindamycin 900 mg instead. Right knee scope.",
     "vancomycin", "clindamycin"),
    ("The mesh was cut but the defect closed by itself so it is back in the cupboard. Ventral hernia repair.", "mesh",
     "hernia"),
    ("A spinal was tried three times and given up, general anaesthesia then. Left hip hemi.", "spinal", "general"),
    ("SPECIMEN: disc, not sent", "specimen", ""),
    ("Specimens: hernia sac, discarded. Right hernia repair.", "specimen", "hernia repair"),
    ("Saline used, 18 L, no deficit worth mention. TURP.", "deficit", "resection"),
    ("PT and two transforaminal epidurals had not helped. Left L5-S1 microdiscectomy.", "patient age",
     "microdiscectomy"),
    ("Right hip replacement. 32 mm +0 ceramic head.", "count", "32"),
    ("Left L5-S1 microdiscectomy. Tubular retractor 18 mm.", "plate", "18"),
    ("OPERATION: Left total knee replacement. PROCEDURE: Teicoplanin 400 mg. Midline incision. Patella everted.",
     "procedure teicoplanin|procedure midline|procedure patella", "teicoplanin"),
    ("Title: laparoscopic sigmoid colectomy. Operation: four ports. Liver fine. Sigmoid mobilised.",
     "procedure four|procedure liver", "colectomy"),
    ("GA. Told about perforation (1:1000), infection, bleeding. Hysteroscopy and polypectomy done.",
     "perforation|bleeding", "polypectomy"),
    ("R CTR under LA. Had steroid inj both wrists 2023, wore off. 4/0 Ethilon.", "injection", "carpal tunnel release"),
    ("Left renal mass. Discussed ablation and radical nephrectomy; he wanted it out. Partial nephrectomy left.",
     "radical|ablation", "partial nephrectomy"),
    ("Family told he could bleed again (10-20%), fit, stroke or die. Left frontal burr hole.", "stroke|bleed|fit",
     "burr hole"),
    ("Consented: infection, bile leak, CBD injury 1:300, conversion 5%. Lap chole.", "leak|injury|5",
     "cholecystectomy"),
    ("Knows that 1 in 20 leak urine and may need a stent. Partial nephrectomy right, drain 15 Fr.", "stent|leak",
     "drain"),
    ("Operation: carpal tunnel release right. Procedure: removal of ganglion right wrist as well.", "nothing",
     "ganglion"),
)  # fmt: skip


@pytest.mark.parametrize(("said", "not_done", "done"), TOLD)
def test_what_is_told_of_another_day_does_not_stand(said: str, not_done: str, done: str) -> None:
    facts = facts_of(said)
    wrong = [fact for words in not_done.split("|") for fact in facts if _stands(fact, words) and not fact.doubts]
    assert wrong == []
    assert not done or any(_stands(fact, done) for fact in facts)


# Harm told and mended, and complications said to be none; and where the harm was what the operation was for, or meant.
HARM = (
    "Right knee replacement. The popliteal artery was lacerated at the capsule and repaired with 6-0 Prolene.",
    "Left groin dissection. The femoral artery was lacerated and repaired with 5-0 Prolene.",
    "Rotator cuff tear, right shoulder scope. The cephalic vein was torn and ligated.",
    "Right knee replacement. The medial collateral ligament was cut at the saw cut and reattached with an anchor.",
    "L4/5 decompression. There was a small dural rent, closed with one stitch and glue.",
    "Right hip hemi. A crack in the calcar appeared and was cabled.",
    "Left total hip. The greater trochanter cracked with the broach and was wired.",
    "Nephrectomy left. A hole in the diaphragm was closed with two stitches over suction.",
    "Hernia repair. During adhesiolysis the ileum was torn twice, and both tears were oversewn.",
    "Hysterectomy. The left ureter was cut close to the bladder and reimplanted over a stent.",
    "Colonoscopy. Perforation of the caecum was clipped with four clips.",
    "ACL reconstruction left. The graft was dropped on the floor and washed.",
    "Lap chole. Tear in the liver bed 2 cm, packed with Surgicel.",
    "Lap chole. Cystic artery stump bled, ~300 ml, clipped.",
    "Femoral nail right. The guide wire broke and 2 cm of it was left in the canal.",
)  # fmt: skip
NO_HARM = (
    "Stab wound to the left groin. The femoral artery was lacerated and repaired with 5-0 Prolene.",
    "Glass injury right forearm. The tendon was lacerated and repaired with 3-0 Prolene.",
    "Bankart repair left shoulder for instability. The capsule was torn and was repaired with three anchors.",
    "Tibial plateau fracture, ORIF left. The condyle was split and fixed with two screws.",
    "Perforated duodenal ulcer, laparotomy. A hole in the duodenum was closed with an omental patch.",
    "Tympanoplasty right. The perforation of the drum was patched with perichondrium.",
    "Achilles rupture repair left. The tendon was torn and sutured.",
    "Vasovasostomy. The vas was divided and re-anastomosed over 9-0.",
    "The capsule was split in line with the neck and closed with Vicryl. Right hip hemiarthroplasty.",
    "Right knee replacement. The popliteal artery was not lacerated and no vessel was repaired.",
)  # fmt: skip


def _conflict(said: str) -> bool:
    found = run.note_from_text(f"{said} Complications: none.").findings
    return any(one.check == "complication_conflict" and one.severity != "note" for one in found)


@pytest.mark.parametrize("said", HARM)
def test_harm_that_was_mended_is_asked_about(said: str) -> None:
    assert _conflict(said)


@pytest.mark.parametrize("said", NO_HARM)
def test_the_illness_that_was_operated_on_is_no_complication(said: str) -> None:
    assert not _conflict(said)
