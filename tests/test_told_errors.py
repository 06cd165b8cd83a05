"""Errors told freely, each beside the right words: the named check speaks of the wrong ones and is silent on the right.

The sentences are invented; right and wrong differ in one number, word or clause.
"""

from __future__ import annotations

import pytest

from pipeline import run

# (check, right words, wrong words, the sentence with ___ where they stand)
TOLD = (
    ("stated_sums", "seven on the chest and four on the arm", "seven on the chest and six on the arm",
     "Scald to the chest and the left arm, eleven percent in all, ___."),
    ("stated_sums", "midline 15, pocket 15", "midline 15, pocket 25",
     "LA: bupivacaine 0.25% + adrenaline 1:200,000, 30 mL (75 mg): ___."),
    ("stated_sums", "= 21 min", "= 31 min", "Penile tourniquet x2: 12 min + 9 min ___."),
    ("stated_sums", "= 5.4 mL", "= 7.2 mL", "Articaine 4% 1:100,000, 3 cartridges x 1.8 mL ___."),
    ("stated_sums", "three of each", "four of each",
     "Peribulbar block, six millilitres of a one to one mix of lidocaine and half percent bupivacaine, ___."),
    ("stated_sums", "a hundred and ten grams together", "a hundred and forty grams together",
     "right lobe first upper pole with the sealer right nerve found and parathyroids kept right lobe sixty two grams "
     "then left the same left nerve found one parathyroid kept left lobe forty eight grams ___ vagus signals good"),
    ("stated_sums", "= 11 h 20 min", "= 13 h 20 min", "Cold: perfused 1614, out of ice 0334 ___. Reperfused 0408."),
    ("stated_sums", "forty four minutes of ischaemia", "sixty four minutes of ischaemia",
     "start eight oh five flap off at ten fifty two flow back at eleven thirty six ___ artery nine oh nylon"),
    ("stated_sums", "two hundred and fifty weighed on the swabs", "three hundred and fifty weighed on the swabs",
     "She lost seven hundred millilitres, four hundred and fifty in the suction and ___."),
    ("listed_count", "so four hundred spots", "so six hundred spots",
     "laser three hundred and forty spots, then another sixty round the other one, ___."),
    ("listed_count", "two lateral one medial", "two lateral two medial",
     "flap on the right side of the belly three perforators ___ weight six hundred and eighty grams"),
    ("listed_count", "one on the arm", "two on the arm",
     "Donor was the left thigh, three strips meshed one to one and a half. Two strips on the chest and ___."),
    ("dose_by_weight", "that's fifty a kilo", "that's five a kilo",
     "She's three, fourteen kilos. Flucloxacillin seven hundred milligrams, ___, at twenty to nine."),
    ("dose_by_weight", "bd (4 mg)", "bd (40 mg)", "Recipient 53M 81 kg. Plan: tacrolimus 0.05 mg/kg ___."),
    ("tooth_conflict", "36 + 37 out", "36 + 38 out",
     "Dx: roots 36, failed RCT 37. Time out, teeth read out. ___ with luxators, sockets curetted."),
    ("stated_sums", "so fifty grams of chips", "so seventy grams of chips",
     "middle lobe first fourteen grams left lobe nineteen right lobe seventeen ___ in one pot for histology"),
    ("stated_sums", "7 loads", "9 loads", "Vein 45 mm stapler x1, artery x2, bronchus x1, fissure x3: ___."),
    ("stated_sums", "= 8", "= 9", "Prep BBPS 3+2+3 ___."),
    ("stated_sums", "so four millimetres of reduction", "so eight millimetres of reduction",
     "Slip came from six millimetres to two, ___."),
    ("stated_sums", "Total 31 min", "Total 51 min",
     "In 09:10, caecum 09:19 (9 min), out 09:41 (22 min withdrawal). Prep good. ___."),
    ("stated_sums", "so gag time twenty four minutes", "so gag time fourteen minutes",
     "gag on at nine oh two throat pack out gag off at nine twenty six ___ ears looked at"),
    ("listed_count", "All 4 retrieved", "All 5 retrieved", "Final: 4 polyps, diverticula. All removed by snare. ___."),
    ("listed_count", "= 12 screws", "= 14 screws", "Flap: 3 plates x 4 screws ___, 1 burr cover."),
    ("listed_count", "so six pedicles", "so eight pedicles",
     "both pouches opened three pedicles on each side one vicryl ___ uterus out"),
    ("listed_count", "three all together", "four all together",
     "drains one in the left pleura and two in the mediastinum ___ thirty two french each"),
    ("listed_count", "so five bands", "so nine bands",
     "one with a white nipple at thirty six centimetres three bands then after another look two more ___ bleeding "
     "stopped"),
    ("listed_count", "so two tumours", "so three tumours",
     "On the left wall a papillary tumour of about two and a half centimetres and at the dome a small one of eight "
     "millimetres, ___, both resected."),
    ("listed_count", "so four ports", "so six ports",
     "Twelve millimetre port above the navel, another twelve in the right lower quadrant and two fives, ___."),
    ("listed_count", "3 stones out", "5 stones out",
     "Cholangiogram: duct 14 mm, 3 stones (12, 8 and 6 mm). Sphincterotomy 10 mm. Trawled with a balloon: ___, clear."),
    ("stated_sums", "so a hundred", "so two hundred", "sedation with fentanyl fifty micrograms twice ___ and midazolam "
     "two milligrams"),
    ("stated_sums", "forty milligrams in segment six", "sixty milligrams in segment six",
     "doxorubicin seventy five milligrams on two vials of beads ___ and thirty five in segment eight all seventy five "
     "given"),
    ("stated_sums", "so two hours twenty five from the knife", "so three hours twenty five from the knife",
     "Time out at five past eight, knife to skin at ten past. Tumour out. Closed at twenty five to eleven, ___."),
    ("device_identity", "plus twenty one point five as well", "plus twenty point five as well",
     "The lens is a one piece of plus twenty one point five dioptres, and the box that nurse Beth read out says ___."),
    ("side_unplaced", "left lower pole punctured", "right lower pole punctured",
     "percutaneous nephrolithotomy left contrast up the catheter ___ under screening"),
    ("side_unplaced", "wire up the right side", "wire up the left side",
     "ureteroscopy right for a stone scope in at two twenty six ___ semi rigid scope over a second wire"),
    ("side_unplaced", "both R, to suction", "both L, to suction",
     "Proc: R VATS decortication. 2 drains: 28F apical, 32F basal, ___ -20 cmH2O."),
    ("side_conflict", "draped the right arm free", "draped the left arm free",
     "Right shoulder arthroscopic cuff repair. We prepped with chlorhexidine and ___."),
    ("listed_count", "five anchors", "six anchors",
     "Two double loaded anchors at the cartilage edge, then two knotless ones further out, and one more for the biceps "
     "in the groove, so ___ on the sheet."),
    ("listed_count", "so three loose bodies", "so five loose bodies",
     "skin incision at ten fifty two portals one body came out of the front of the ankle and two out of the gutter ___ "
     "in the pot for histology"),
    ("listed_count", "the two stones", "the three stones",
     "one stone of eight millimetres at the brim and one of five just above it ___ were dusted with the laser"),
    ("listed_count", "Three needles in all.", "Four needles in all.",
     "One 11G needle on the right, one 11G on the left and one 13G for the tibia. ___ Nothing broke."),
    ("listed_count", "so four biopsies", "so five biopsies",
     "we took one biopsy from the antrum another from the body and two out of the fundus ___ went to histology"),
    ("listed_count", "these four pins", "these three pins",
     "Two pins in the radius and two in the second metacarpal and ___ were joined with a bar."),
    ("listed_count", "so five samples", "so seven samples",
     "pus under pressure three samples of fluid and two of synovium ___ went off synovium red shaved"),
    ("count_sums", "one hundred and twenty millilitres", "one hundred and fifty millilitres",
     "both anterior crests six pulls of ten millilitres on the right and six pulls of ten on the left ___ together"),
    ("dose_arithmetic", "so forty milligrams", "so four hundred milligrams",
     "two millilitres of lidocaine one percent on each side four mils in all ___ in the skin only"),
    ("parts_and_total", "(80 mg total)", "(120 mg total)",
     "Bilateral subacromial injections. Each shoulder: Depo-Medrol 40 mg ___ with bupivacaine 0.25% 4 mL (10 mg)."),
    ("injection_total", "Three millilitres went", "Eight millilitres went",
     "Platelet rich plasma into the left Achilles tendon. Thirty millilitres of blood with three millilitres of "
     "citrate, one spin of five minutes, four millilitres of plasma. ___ into the thick part in five passes."),
    ("duration_times", "52 minutes", "25 minutes", "Traction on 12:52, off 13:44. Traction time ___. Incision 12:56."),
    ("listed_count", "that's eleven holes", "that's fourteen holes",
     "cleaned to a stable rim and made seven holes in the middle and four round the edge ___ with blood coming"),
    ("unplaced_number", "so eighty altogether", "so one hundred and twenty altogether",
     "steroid injections of both knees both knees had forty milligrams of triamcinolone each ___ with four millilitres "
     "of one percent lidocaine"),
    ("listed_count", "Three anchors", "Five anchors",
     "Labrum lifted off the neck. ___ were placed, at five, four and three o'clock, lot number S eight eight one."),
    ("count_sums", "5 anchors total", "6 anchors total", "2 medial 4.75 mm + 3 lateral 4.75 mm, ___, lot QT2290."),
    ("listed_count", "so three out", "so five out",
     "ulnar nerve felt two loose bodies from the back and one from the front ___ defect of the capitellum debrided"),
    ("injection_total", "four millilitres into each knee", "six millilitres into each knee",
     "Bone marrow concentrate into both knees. Left posterior crest, twelve draws of five millilitres, sixty in all. "
     "Spun for fifteen minutes, eight millilitres of concentrate. Under ultrasound ___."),
    ("side_conflict", "right crest closed", "left crest closed",
     "Injection of marrow concentrate, left knee. Right posterior crest, eight draws of five millilitres, forty "
     "millilitres in all. Concentrate six millilitres. ___ with a plaster. Six millilitres into the left knee."),
    ("side_unplaced", "left femoral head", "right femoral head",
     "Procedure: core decompression left hip. A 3.2 mm guide pin was advanced into the ___, then a reamer."),
    ("tourniquet_times", "fifty six minutes", "sixty five minutes",
     "tourniquet at nine fifty one two fifty millimetres of mercury knots tied tourniquet down ten forty seven ___"),
    ("stated_sums", "so thirty centimetres", "so forty centimetres",
     "Measured on the table, eight of ileum and twenty two of colon, ___ of bowel went into the bucket."),
    ("stated_sums", "two and a half litres all told", "three and a half litres all told",
     "Crystalloid two litres and half a litre of gelatin, ___."),
    ("stated_sums", "makes 12 mL", "makes 14 mL",
     "5 mL went behind the nail, 3 mL in front and another 4 mL around the plate, that ___."),
    ("stated_sums", "so fifty eight minutes", "so eighty five minutes",
     "time out eight fifty five. traction on at four minutes past nine three knotless anchors held traction off at two "
     "minutes past ten ___ of pull"),
    ("stated_sums", "which is fifty minutes", "which is forty minutes",
     "Ischaemia began at ten fifteen. The vessel was sewn. Flow was back at eleven oh five, ___ without blood."),
    ("packs_left", "both of those were out", "one of those was out",
     "Two swabs were placed in the beds and ___ before the gag came off."),
    ("packs_left", "3 packs out", "2 packs out", "The ovaries were left in place. 3 packs in, ___ before the fascia."),
    ("complication_conflict", "the vein was seen", "I nicked the hepatic vein and had to stitch it",
     "the gallbladder came away and ___ no bile spilled no complications"),
    ("complication_conflict", "the saw cut was clean", "the saw nicked the medial collateral ligament",
     "Trial components in, ___. Complications none."),
    ("planned_not_done", "the psoas I left alone in the end", "the psoas had snapped before",
     "planned were labral repair and a psoas release he got a right hip arthroscopy with repair of the labrum ___"),
    ("draw_total", "fifty four of marrow", "forty four of marrow",
     "right posterior iliac crest twelve draws of four and a half millilitres each that is ___ spun to eight "
     "millilitres which went into the left knee"),
    ("draw_total", "the tally was thirty five millilitres", "the tally was thirty millilitres",
     "left posterior crest seven draws of five millilitres ___"),
    ("anticoagulant_share", "one part in ten", "one part in five",
     "right posterior iliac crest twelve draws of four and a half millilitres each that is fifty four of marrow onto "
     "six millilitres of ACD-A which is ___ of citrate"),
    ("anticoagulant_share", "one to nine", "one to five",
     "Right posterior iliac crest: ten draws of 4.5 mL into ACD-A 5 mL, ___. Total 45 mL."),
    ("injection_total", "2 mL around it", "6 mL around it",
     "Right crest 6 x 5 mL, left crest 6 x 5 mL, sum 60 mL. ACD-A 8 mL in the bag. 10 mL concentrate. Under image "
     "intensifier 8 mL into the gap and ___, slow."),
    ("prepared_not_given", "3 mL injected in five passes, the rest discarded", "The tendon was needled in five passes",
     "Procedure: ultrasound-guided PRP, right elbow. 36 mL of blood taken from the left arm, single spin, 4 mL PRP "
     "drawn up. ___. No steroid."),
    ("device_expiry", "expiring in August twenty seven", "expiring in August twenty five",
     "Date of surgery 4 November 2026. Triamcinolone lot T four four one, ___. Injected both knees."),
    ("device_expiry", "exp 03/28", "exp 03/26", "Date of surgery 4 November 2026. Screw lot 55, ___."),
    ("explanted", "lot M5501", "lot R7720",
     "Stump removed; old tibial screw taken out, ___. Graft up, 8 x 25 mm metal screw femur (lot R7719) and 9 x 25 mm "
     "tibia (lot R7720)."),
    ("two_values", "A twenty one point five dioptre lens", "A twenty point five dioptre lens",
     "Time out, lens read out twenty one point five dioptres. ___ went into the bag."),
    ("tooth_conflict", "Extraction 38", "Extraction 37",
     "Impacted wisdom teeth 38 and 28, left. Consent: 38, 28. ___: flap, tooth split in two. Extraction 28 with "
     "elevator."),
    ("drug_dose", "one gram", "one milligram", "vancomycin powder ___ over the muscle"),
    ("parts_and_total", "eighty of triamcinolone", "sixty of triamcinolone",
     "Each knee got forty milligrams of triamcinolone from the front, so that's, well, ___ altogether."),
    ("parts_and_total", "eighty milligrams of triamcinolone", "a hundred and twenty milligrams of triamcinolone",
     "Each knee got forty milligrams of triamcinolone, ___ altogether."),
    ("prophylaxis_window", "cefazolin at eight forty", "cefazolin at six ten",
     "___ time out eight fifty five knife nine oh nine"),
    ("time_order", "wounds shut at nine forty five", "wounds shut at eight forty five",
     "skin incision eight fifty two. Synovium shaved. ___ with four oh nylon."),
    ("time_order", "skin 21:10", "skin 20:10", "Time-out 20:58 (right femur). ___, closed 22:31."),
    ("listed_count", "that's three implants", "that's four implants",
     "tibial tunnel nine femoral tunnel nine deep one button on the femur one screw nine by twenty five in the tibia "
     "and one staple over it so ___ notch opened by two millimetres"),
    ("draw_total", "58 mL in all", "50 mL in all",
     "Right crest first: 4 draws of 8 mL, then left crest: 26 mL in smaller pulls, ___."),
    ("stated_sums", "so half a litre down", "so two and a half litres down",
     "eighteen litres of saline in and seventeen and a half back ___ capsule not opened"),
    ("stated_sums", "so forty two grams", "so fifty two grams",
     "the middle lobe first twelve grams and the side lobes thirty grams ___ of chips for histology"),
    ("anticoagulant_share", "(ACD-A 10%)", "(ACD-A 25%)",
     "54 mL blood from the left arm + 6 mL ACD-A ___, double spin, 6 mL PRP. 6 mL into the right ankle joint."),
    ("injection_total", "2 mL along", "5 mL along",
     "54 mL blood from the left arm, double spin, 6 mL PRP. 4 mL into the joint, ___ the peroneal sheath."),
    ("complication_conflict", "No chondral injury", "The trocar scuffed the medial condyle",
     "Flap of the posterior horn trimmed. ___. ACL ok. Complications nil."),
    ("transfusion_conflict", "the blood had been ordered", "no blood from the bank",
     "compared with the other leg loss about five hundred millilitres ___ and two units of red cells tranexamic acid"),
    ("two_values", "QBL 650 mL", "QBL 1650 mL", "Blood loss 650 mL measured. Fascia 0 PDS. ___."),
    ("none_but_said", "Spec:", "Spec none.", "Lipoma shelled out whole. ___ Lipoma to path. EBL 5 mL. Counts ok."),
    ("none_but_said", "the specimen", "no specimen",
     "lap appendicectomy done base tied ___ appendix in its bag to histology counts right no complications"),
    ("none_but_said", "specimen in formalin", "specimen none",
     "the cyst was excised ___ the cyst with its capsule went to pathology blood loss five millilitres"),
    ("side_conflict", "Op: debridement R heel ulcer", "Op: debridement L heel ulcer",
     "Dx: pressure ulcer R heel. ___ + SSG from R thigh. TO 0905 R foot. Ulcer cleaned to bleeding fat."),
    ("side_conflict", "Op: ptosis repair OD", "Op: ptosis repair OS",
     "Dx: ptosis OD, pre=post. ___ + skin excision OD. TO 0910 OD. Ptosis 4 mm. Levator advanced."),
    ("side_conflict", "R infraclavicular pocket", "L infraclavicular pocket",
     "Op: single chamber pacemaker R. TO 1100 R side. ___, one puncture. Lead 58 cm. No comps."),
    ("side_conflict", "left iliac fossa", "right iliac fossa",
     "PROCEDURE: Kidney transplant, ___, right kidney of a brother. Incision 10:05 left Gibson 15 cm. No drain."),
    ("side_conflict", "Dx: L 5th MT base #", "Dx: R 5th MT base #",
     "___, displaced. Op: ORIF L 5th metatarsal. TO 0915 L foot. One screw 4.5 mm x 45 mm."),
    ("site_conflict", "1120 L middle + ring", "1120 L ring + small",
     "Dx: Dupuytren L middle + ring. Op: limited fasciectomy L middle and ring. TO ___. Cords out, nerves intact."),
    ("level_conflict", "1015 C6-7", "1015 C7-T1",
     "Proc: ACDF C6-7 for a soft disc. TO ___. Disc and spur out, L C7 root free, both nerves checked. Cage 6 mm."),
    ("level_conflict", "left l four five", "left l two three",
     "transforaminal injection left l four five under x ray time out ___ at nine ten dexamethasone eight milligrams"),
    ("level_conflict", "l one at", "l two at",
     "vertebroplasty l one for a compression fracture time out ___ ten forty level counted from the sacrum"),
    ("level_conflict", "at C five six", "at C four five",
     "anterior cervical discectomy and fusion C five six for a soft disc. root free. cage six millimetres ___"),
    ("level_conflict", "gave us four five", "gave us three four",
     "lumbar stenosis L4 L5 decompression L4 L5 time out seven forty level marked with a needle and the count from the "
     "sacrum ___ skin seven forty eight four centimetres"),
    ("stated_sums", "(160 mg both)", "(120 mg both)",
     "Each hip: Depo-Medrol 80 mg ___ + bupivacaine 0.25% 4 mL. Free flow."),
    ("stated_sums", "so three hundred mils", "so eight hundred mils",
     "four litres of saline in and three point seven out ___ missing"),
    ("draw_total", "thirty six in the end", "thirty in the end",
     "right posterior crest at each place I pulled so nine pulls of four millilitres ___ into a bag"),
    ("complication_conflict", "Ulnar nerve seen and protected", "Ulnar nerve nicked by the shaver",
     "Spur of the coronoid 4 mm off. ___. Complications: none."),
    ("injection_total", "one and a half into the joint", "four and a half into the joint",
     "marrow concentrate for the right talus. right posterior crest nine pulls of four millilitres spun twelve minutes "
     "it yielded four and a half millilitres under the image intensifier three into the talus and ___"),
    ("none_but_said", "Haemostasis", "Nasopore left in both middle meatuses", "Polyps shaved. ___, no packing left."),
    ("injection_total", "four into the right", "six into the right",
     "we gave him marrow concentrate in both knees. right posterior iliac crest I did twelve draws of four and a half "
     "millilitres each that is fifty four of marrow the machine gave me back eight millilitres of concentrate under "
     "ultrasound four into the left knee and ___ nothing was thrown away"),
    ("listed_count", "so six of them", "so nine of them",
     "Four anchors on the inside and two outside, ___, four point seven five millimetres, watertight."),
    ("listed_count", "three in all", "five in all",
     "Two anchors for the labrum, at ten and at two o'clock, and one for the biceps, ___, each 2.9 mm."),
    ("listed_count", "three anchors altogether", "five anchors altogether",
     "first anchor at one o'clock second at two third at three ___ each 1.8 mm"),
    ("listed_count", "four anchors altogether", "five anchors altogether",
     "first anchor at eleven o'clock second at twelve third at one fourth at half past one ___ each 1.8 mm"),
    ("listed_count", "= 8 screws", "= 9 screws", "7-hole plate, lag screw x1: 5 + 1 + 2 ___. Lot FX-1."),
    ("listed_count", "= 4 implants", "= 6 implants", "3 anchors 2.9 mm patella + 1 button femur ___. Isometry good."),
    ("listed_count", "So five screws.", "So six screws.",
     "Four 2.5 mm headless screws for the first ray. The toe was fused with one screw of 2.0 mm. ___ Lot HS-2."),
    ("dose_by_weight", "so four hundred milligrams", "so four thousand milligrams",
     "gentamicin five milligrams a kilo at eighty kilos ___"),
)  # fmt: skip


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TOLD)
def test_an_error_told_freely_is_caught(check: str, right: str, wrong: str, told: str) -> None:
    def speaks(words: str) -> list[str]:
        note = run.note_from_text(told.replace("___", words), made_at="2026-03-02T18:00:00+00:00")
        return [one.message for one in note.findings if one.check == check and one.severity != "note"]

    assert speaks(right) == []
    assert speaks(wrong)


def test_the_same_total_twice_is_no_part_of_itself() -> None:
    note = run.note_from_text("Two medial anchors, 4.75 mm, and two lateral ones, so four anchors, four in all.")
    assert not [one for one in note.findings if one.check == "listed_count"]


def test_a_tally_before_a_drug_is_no_volume_of_the_drug() -> None:
    note = run.note_from_text(
        "left posterior crest seven draws of five millilitres the tally was thirty five millilitres heparin had been "
        "one thousand units per millilitre three millilitres so three thousand units for rinsing the kit"
    )
    assert [str(fact.value) for fact in note.of("harvest_total")] == ["35"]
    assert [str(fact.value) for fact in note.of("medication_volume")] == ["3"]


def test_a_lot_that_begins_like_a_vertebra_is_read_whole() -> None:
    note = run.note_from_text("Triamcinolone lot T four four one.")
    assert [fact.text for fact in note.of("device_lot")] == ["T441"]


def test_the_whole_syringe_is_no_volume_of_its_last_drug() -> None:
    note = run.note_from_text("Kenalog 80 mg with ropivacaine 0.2% 5 mL (10 mg), all 7 mL into the anterior recess.")
    assert [str(fact.value) for fact in note.of("medication_volume") if fact.name == "ropivacaine"] == ["5"]
    assert [str(fact.value) for fact in note.of("injection_total")] == ["7"]


def test_what_the_machine_gives_back_is_no_draw() -> None:
    note = run.note_from_text(
        "right posterior iliac crest ten draws of five millilitres the machine gave me back eight millilitres of "
        "concentrate"
    )
    assert [str(fact.value) for fact in note.of("draw")] == ["5"]
    assert [str(fact.value) for fact in note.of("product_volume")] == ["8"]
