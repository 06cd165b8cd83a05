"""What is asked aloud of narrations of many specialties: right words beside wrong ones, and words that ask nothing.

The sentences are invented; right and wrong differ in one number, word or side.
"""

from __future__ import annotations

import pytest
from reading_of import loud

# (check, right words, wrong words, the sentence with ___ where they stand)
TOLD = (
    ("listed_count", "so three screws", "so four screws",
     "shell fifty four two screws up top of twenty five and one of thirty ___ liner neutral"),
    ("listed_count", "three screws all up", "four screws all up",
     "three cannulated screws all six point five one home run from behind and two from the medial side ___"),
    ("parts_and_total", "eight screws in all", "nine screws in all",
     "One plate with four screws on the right and one plate with four screws on the left, ___."),
    ("listed_count", "five stones all told", "nine stones all told",
     "Balloon sweeps, three stones on the first pass and two on the second, ___, then a clear duct."),
    ("stated_sums", "680 mL (520", "860 mL (520", "Caesarean section. QBL ___ suction + 160 lap weight)."),
    ("stated_sums", "so forty one grams of chips", "so fourteen grams of chips",
     "lateral lobes nineteen grams then the median lobe twenty two grams ___ went to histology"),
    ("stated_sums", "so twelve percent excised", "so twenty percent excised",
     "chest six percent right arm three percent left arm three percent ___ to fat"),
    ("stated_sums", "seventy four minutes", "forty four minutes",
     "We started at seven fifty five. The line was oversewn. Over at nine oh nine. That makes ___."),
    ("duration_times", "warm time of thirty eight minutes", "warm time of fifty eight minutes",
     "Out of ice at twenty two twenty. Artery sewn, clamps off at twenty two fifty eight, ___."),
    ("duration_times", "Bypass eighty nine minutes", "Bypass eighteen minutes",
     "Bypass from nine oh five to ten thirty four. ___."),
    ("dose_arithmetic", "one hundred and twenty milligrams", "one hundred and eighty milligrams",
     "sixty mils of ropivacaine point two percent so ___ of ropivacaine round the joint"),
    ("dose_by_weight", "(60 mg)", "(600 mg)", "Baby, weight 4.0 kg. Para 15 mg/kg ___ IV."),
    ("irrigation_deficit", "five hundred millilitres", "fifteen hundred millilitres",
     "eighteen litres of saline in and seventeen and a half litres out deficit of ___"),
    ("side_conflict", "TO 1016 RE", "TO 1016 LE", "Phaco + IOL RE. Dx: cataract RE. ___."),
    ("side_conflict", "L L3, L4 medial", "R L3, L4 medial", "RFA L lumbar facets. TO 1331 L side. ___ branch."),
    ("plausible", "40 g, lot", "400 g, lot", "Left unicompartmental knee. One pack of cement, ___ 12."),
    ("plausible", "ten grams", "ten milligrams",
     "Uterus out through the vagina in one piece, it weighed two hundred and ___."),
    ("plausible", "Five holes", "Fifty holes", "Right elbow arthroscopy. ___ were drilled with a wire."),
    ("listed_count", "so four ports", "so five ports",
     "started ten thirty four one ten millimetre port and three fives ___ pressure fourteen millimetres of mercury"),
    ("packs_left", "four packs out", "three packs out",
     "midline four packs in one and a half litres of blood sucked out spleen out ___ before closing"),
    ("listed_count", "four implants", "six implants",
     "Two implants in front and two at the back, so ___ of four by eleven and a half millimetres."),
    ("dose_by_weight", "two hundred millilitres", "two thousand millilitres",
     "Boy, one year old, weight ten kilograms. Twenty millilitres per kilogram of saline, ___."),
    ("stated_sums", "(20 mL)", "(40 mL)", "Celiac plexus neurolysis. Alcohol 10 mL each side ___."),
    ("listed_count", "6 bands (4", "8 bands (4", "OGD + banding. ___ OGJ, 2 above), bleeding stopped."),
    ("side_conflict", "R parasymphysis + L angle", "L parasymphysis + R angle",
     "ORIF mandible. Dx: ___ # (pre/post). Time out. Two plates. R parasymphysis intraoral, L angle oblique ridge."),
    ("time_order", "done at fourteen thirty three", "done at twelve thirty three",
     "cut at thirteen twenty nine nine centimetres skin four oh monocryl ___ blood loss thirty mils"),
    ("listed_count", "so five clips", "so three clips",
     "one ten millimetre port three five millimetre ports three clips on the duct and two on the artery ___"),
    ("listed_count", "two wedges", "three wedges",
     "apex with bullae ___ one of four and one of three centimetres stapled with the purple load"),
    ("stated_sums", "three hundred in the suction", "two hundred in the suction",
     "four hundred and fifty mils loss measured ___ one fifty on the swabs no drain"),
    ("stated_sums", "seven minutes in total", "seventeen minutes in total",
     "Temporary clip twice, four minutes and three minutes, ___. One curved clip."),
    ("drug_dose", "20 u in 100 mL", "200 mg in 100 mL", "Open myomectomy. vasopressin ___, 30 mL used."),
    ("side_conflict", "Left pterional", "Right pterional",
     "___ craniotomy and clipping of a left middle cerebral artery aneurysm. Time out at thirteen twenty, left side."),
    ("plausible", "recessed five millimetres", "recessed fifty millimetres",
     "Squint operation on both eyes, recession. The left medial rectus was ___."),
    ("time_order", "scope out fourteen fifty seven", "scope out thirteen fifty seven",
     "gastroscopy and peg time out fourteen thirty one scope in fourteen thirty eight stomach normal ___ no bleeding"),
    ("time_order", "done by twenty past three", "done by twenty past one",
     "Hernia repair. Started at two thirty eight in the afternoon. Nothing else, all ___ in the afternoon."),
    ("blood_loss_flag", "Three hundred millilitres lost", "Three thousand millilitres lost",
     "Spinal fusion in an adult. ___, no drain."),
    ("listed_count", "8 loads total", "9 loads total", "Lap RYGB. ___ (5 purple, 3 tan). Petersen closed."),
    ("listed_count", "3 drains (2", "4 drains (2", "Protamine 120 mg. ___ mediastinal, 1 L pleural)."),
    ("listed_count", "CABG x3", "CABG x4", "OPCAB. ___: LIMA-LAD, SVG-OM1, SVG-PDA. Pt 70M 80 kg."),
    ("listed_count", "3 x 7.3 mm", "4 x 7.3 mm", "L hip. ___ cannulated screws (90, 85, 85 mm), inverted triangle."),
    ("parts_and_total", "total 6", "total 7", "L shoulder. Medial 3 x 4.75 mm, lateral 3 x 4.75 mm, ___, lot 22K-118."),
    ("listed_count", "7 sutures total", "9 sutures total", "L knee. All-inside x4, inside-out x3 (2-0), ___."),
    ("parts_and_total", "total 3 screws", "total 5 screws",
     "R scarf + Akin. 2 x Barouk screws 2.5 mm (18, 16 mm). Akin wedge 3 mm, 1 screw 14 mm; ___."),
    ("listed_count", "so three pieces", "so five pieces",
     "main body lot e v three three one contralateral limb lot e v four one oh and an extension lot e v four one one "
     "___ all ballooned"),
    ("listed_count", "five anchors of", "four anchors of",
     "Three anchors medially and two laterally, ___ four point seven five millimetres."),
    ("tooth_conflict", "five teeth", "six teeth",
     "Removal of ___ under general anaesthesia. Decayed teeth one six, one seven, two six, three eight and four "
     "eight."),
    ("packs_left", "out at the end", "left in at the end", "Nasal tube. Throat pack in at the start and ___."),
    ("stated_sums", "twelve in all", "twenty in all",
     "Six millilitres of quarter percent bupivacaine on each side, ___."),
    ("duration_times", "console 142 min", "console 242 min", "Inc 0748, closed 1056, ___, op 188 min."),
    ("irrigation_deficit", "three hundred millilitres", "nine hundred millilitres",
     "Saline in four thousand two hundred millilitres, out three thousand nine hundred millilitres. Deficit ___."),
    ("time_order", "baby 0418", "baby 0318", "Forceps in theatre. Start 0407, ___, end 0511."),
    ("time_order", "ten past six", "ten past four",
     "Time out at sixteen fifty two. Started at five to five in the afternoon and finished at ___."),
    ("time_order", "out 0954", "out 0854", "Colonoscopy. TO 0906. Scope in 0911, caecum 0920, ___."),
    ("side_conflict", "OS mac-on", "OD mac-on", "Op: 23G PPV, laser, gas OS. Dx: ___ RRD, tear 2 o'clock."),
    ("side_conflict", "the right arm", "the left arm",
     "Posterior foraminotomy at C six seven on the right for pain down ___."),
    ("side_conflict", "into the right iliac", "into the left iliac",
     "Kidney transplant, right iliac fossa. Kidney ___ fossa, lower quadrant."),
    ("local_anaesthetic", "two hundred milligrams", "four hundred milligrams",
     "ropivacaine point two percent one hundred millilitres in the capsule ___ of ropivacaine altogether"),
    ("plausible", "five screws", "fifty screws", "Plate 2.0 mm, ___ were put in. Left hand."),
    ("time_order", "scope out at eleven fifty two", "scope out at ten fifty two",
     "gastroscopy started at eleven twenty ___ no complications"),
)  # fmt: skip
QUIET = {
    "the side one lies on": "total hip replacement left spinal eleven milligrams of bupivacaine she lies on her right "
                            "side left hip up",
    "half thousands": "tinzaparin four and a half thousand units a day for six weeks",
    "ports are no loads": "Five ports. Stapled with two black and five purple loads, seven loads altogether.",
    "the end of an infusion": "Vancomycin one gram finished at eight twenty. Incision eight forty. Closed at ten.",
    "grams of what is dosed so": "levetiracetam one gram at induction",
    "per kilo and what it comes to": "mannitol one gram per kilo so seventy five grams dexamethasone ten milligrams",
    "a total before the next drug": "midazolam two milligrams then one more three milligrams in total fentanyl fifty "
                                    "micrograms",
    "what a drain gives": "ASA 81 mg, bed flexed, drains out < 30 mL/d.",
    "litres of cardioplegia": "Cold blood cardioplegia one litre.",
    "cement before a drug": "insert four millimetres cement forty grams forty mils of quarter percent bupivacaine one "
                            "hundred milligrams",
    "what each holds": "Local: 2 x 2.2 mL lido 2% + adr = 4.4 mL (88 mg).",
    "old blood": "grade four spleen one and a half litres of blood sucked out spleen out blood loss four hundred and "
                 "ninety mils",
    "what a stomach is sewn over": "360 wrap 2 cm over 56 Fr, 3 stitches.",
    "ends of a graft": "closed eleven forty one clamp off at ten thirty four bottom end with six oh prolene",
    "adrenaline in short": "lido 1% + adr 8 mL (80 mg).",
    "a sum in brackets": "2 plates (4 + 6 screws = 10), intraoral.",
    "under the conjunctiva": "Cefuroxime one hundred and twenty five milligrams under the conjunctiva.",
    "one mandible": "ORIF mandible. Dx: fracture of the mandible.",
    "what a count is made of": "Plate 6-hole, 7 further screws: 4 prox 3 shaft; 11 screws total.",
    "a name that no row has": "Ibuprofen 200 mg TDS 7/7, para 300 mg QDS 7/7.",
    "told after the time-out": "right knee arthroscopy time out eight twenty two first cut at eight thirty one "
        "pressure fifty millimetres of mercury left leg in a boot",
    "shares of a loss": "blood loss two hundred and fifty mils all told that's two hundred in the sucker and fifty on "
                        "swabs",
    "the other leg looked at": "R GSV RFA. Dx: R GSV reflux. TO 1055 R leg. L leg: no reflux on scan.",
    "of each arm": "one cut on the outer and one on the inner side of each arm so four cuts to fat",
    "no drain but a stent": "No spec, no drain (8 Fr dripping stent).",
    "what a cartridge holds": "Local, two cartridges of two point two millilitres, four point four millilitres of two "
                              "percent lidocaine, eighty eight milligrams.",
    "after a stroke": "peg for swallowing gone after a stroke no complications",
    "a pair before a drug": "gaps nineteen and nineteen ropivacaine point two percent one hundred millilitres",
    "a vessel end to end": "closed at twelve twenty reperfusion at eleven fifty artery end to end six oh prolene",
    "the refill of a nipple": "NACs pink w/ cap refill 2 s both.",
    "after the birth": "Repair of a third degree tear. Start 0407, baby 0418. Co-amoxiclav 1.2 g 0428.",
    "a time behind units": "UFH 5000 units 1008.",
}  # fmt: skip


@pytest.mark.parametrize("text", QUIET.values(), ids=QUIET)
def test_nothing_is_asked_aloud(text: str) -> None:
    assert loud(text) == []


@pytest.mark.parametrize(("check", "right", "wrong", "told"), TOLD, ids=[told[1] for told in TOLD])
def test_an_error_is_asked_aloud(check: str, right: str, wrong: str, told: str) -> None:
    assert loud(told.replace("___", right)) == []
    assert [one for one in loud(told.replace("___", wrong)) if one.startswith(f"{check}:")]
