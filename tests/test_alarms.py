"""What a check should ask aloud, and what it should not: told in whole sentences, since the words decide.

Each kind stands in pairs where that can be: a narration in which nothing is wrong and nobody is asked aloud, and one
that differs by the error.
"""

from __future__ import annotations

import pytest
from reading_of import loud

QUIET = {
    "a side taken back": "Right knee arthroscopy. Correction, left knee arthroscopy. No complications.",
    "arm of the position": "left knee arthroscopy and partial meniscectomy spinal with right arm out tourniquet on the "
                           "left thigh no complications",
    "leg in a boot": "Right total hip replacement. Spinal anaesthesia. Left leg in a boot. No complications.",
    "other side looked at": "Procedure: left inguinal hernia repair with mesh. The right groin was inspected through "
                            "the scope and a small hernia was seen, not repaired. No complications.",
    "other side left alone": "Procedure: laparoscopic left ovarian cystectomy. The right ovary had a two centimetre "
                             "simple cyst, which was left alone and will be observed with ultrasound.",
    "injection of the other knee, in the title": "Procedure: right knee arthroscopy and injection of the left knee "
        "with 40 mg triamcinolone. Diagnosis: meniscal tear right knee, osteoarthritis left knee. No complications.",
    "two shoulders": "right shoulder subacromial injection forty milligrams of triamcinolone and five mils of one "
        "percent lidocaine then the left shoulder glenohumeral injection forty milligrams of triamcinolone and five "
        "mils of one percent lidocaine no complications",
    "as agreed": "right knee arthroscopy partial medial meniscectomy at the end the left knee was injected with forty "
                 "milligrams of triamcinolone as agreed no complications",
    "two eyes": "Op: Phaco + IOL OD. Intravitreal bevacizumab OS, same sitting. Dx: Nuclear cataract OD; wet AMD OS.",
    "screws beyond the decompression": "Preoperative diagnosis: L4-L5 spondylolisthesis. Procedure: TLIF L4-L5. Time "
        "out L4-L5. Screws were placed at L4, L5 and S1. Cage at L4-L5.",
    "screws in vertebrae": "preop diagnosis degenerative disc disease l five s one procedure posterior instrumented "
        "fusion screws at l four l five and s one decompression at l five s one no complications",
    "a span over more levels": "lumbar fusion diagnosis degenerative spondylolisthesis l four l five procedure "
        "posterior fusion l four to s one screws in l four l five and s one cages at l four five and l five s one no "
        "complications",
    "screws on both sides": "Preop diagnosis: L4-L5 stenosis and L5-S1 stenosis. Procedure: decompression L4-L5 and "
        "L5-S1 and instrumentation L4 to S1. Six screws: L4, L5, S1. No complications.",
    "a further one in brackets": "Right hip arthroscopy, labral repair, 3 anchors (4th pulled out, discarded).",
    "a size before the places": "Left groin flap. Two suction drains, fourteen French, one above the mesh and one "
                                "under the skin.",
    "one lens of each eye": "Both eyes phaco. Right lens serial 4471, left lens serial 9902.",
    "lens exchanged": "Phaco left eye. First lens SN 111222 torn, exchanged for another, SN 333444. No complications.",
    "of the same": "Penile block with ten mils of half percent bupivacaine plus a ring block with five mils of the "
                   "same, no adrenaline.",
    "a further one": "Heparin five thousand units, then a further two thousand after an hour.",
    "the same on the left": "Right knee: 40 mg triamcinolone with 4 mL lidocaine 1%. Left knee the same. No "
                            "complications.",
    "a dilution of which a part was given": "Ten milliliters of dilute vasopressin around the cervix, twenty units in "
                                            "a hundred milliliters.",
    "given twice": "TXA 1 g x2 (incision and closure).",
    "medicines of the patient": "PMHx: COPD, MI 2018 (on aspirin 75 mg, continued). Warfarin for AF, bridging N/A.",
    "cartridges": "Local: lidocaine 2% with 1:80,000 adrenaline, 2 x 2.2 ml cartridges.",
    "a unit that was just said": "Irrigation with saline, thirty liters in, twenty nine point four out, deficit six "
                                 "hundred milliliters.",
    "a sum of doses": "ephedrine six milligrams then another six milligrams that was twelve together",
    "taken back without a word for it": "rocuronium forty no she had fifty milligrams intubated with a tube",
    "asked and answered": "five mils of one percent lidocaine wait sister did you give me the one or the two percent "
                          "it is the one percent good",
    "said again by another": "dexamethasone eight milligrams he said yes eight cefuroxime one point five grams",
    "local for the skin": "right hip injection three millilitres of one percent lidocaine to the skin then forty "
        "milligrams triamcinolone with four millilitres of ropivacaine point two percent all went in easily five mils "
        "altogether",
    "side ports of an eye": "two side ports one millimetre each phacoemulsification right eye",
    "urine behind a drip": "syntocinon 40 units in 500 ml at 125 ml per hour placenta delivered. 2 units of red cells "
                           "given, crystalloid 1.5 l urine 80 ml",
    "drawn up and thrown away": "flucloxacillin one gram was drawn up but she turned out to be allergic to penicillin "
                                "so it was thrown away and vancomycin one gram given",
    "home on another dose": "Clindamycin 600 mg IV given; home on 300 mg TID x 7 d.",
    "other elbow normal": "PRP R elbow, common extensor origin. US-guided. L elbow: normal on scan, nothing done. "
                          "Specimen: 0.5 mL PRP to lab.",
    "other side told in the name": "Left radical inguinal orchidectomy, and a biopsy of the testis on the other side. "
                                   "Then through the scrotum the right testis, which was small. One biopsy, sent.",
    "like the other knee": "revision ACL reconstruction of the right knee lachman negative at the end pivot same as "
                           "the left left knee stable before harvest no drain",
    "side in the dressing": "shoulder manipulation and capsular release frozen shoulder on the left for nine months "
        "the right one froze four years ago and settled by itself sling on the left for two days",
    "planned for later": "Cystoscopy, bilateral retrograde studies and a stent in the left ureter. Left ureteroscopy "
                         "in three weeks.",
    "booked for later": "right eye phaco and lens no complications the left eye is booked for may",
    "a time-out with its side": "cefuroxime one point five grams at nine oh four time out right hip at nine fifteen "
        "traction on at nine twenty two off at ten ten right hip arthroscopy closed at ten forty",
    "so many draws of so much": "HARVEST: right anterior iliac crest. 12 draws x 5 mL = 60 mL. Spun, 8 mL "
                                "concentrate. Injected 8 mL concentrate into the left hip.",
    "draws between turns": "marrow from the left crest first draw five millilitres then one full turn back half "
        "a centimetre second draw five millilitres another full turn back half a centimetre third draw five again "
        "another half centimetre fourth draw five that makes twenty millilitres in four draws then twenty millilitres "
        "of marrow were injected into the left knee",
    "taken off a knee": "right knee eleven millilitres of clear fluid off then forty milligrams of triamcinolone with "
        "four millilitres of one percent lidocaine now the left knee twenty millilitres off so thirty one millilitres "
        "in total then the same forty milligrams of triamcinolone with four millilitres of one percent lidocaine "
        "eighty milligrams triamcinolone together and eighty milligrams of lidocaine",
    "two toes": "PRE/POST-OP DX: Hallux valgus L foot, hammer toe L 2nd. OP: L scarf osteotomy + PIP fusion L 2nd toe.",
    "a name before another code": "RV lead 58 cm SN RV55120, RA lead 52 cm SN RA41418, generator SN GN20021.",
    "a clip more": "Cystic duct 3 clips, artery 2 clips + 1, total 6 clips.",
    "a total before its heading": "EBL at delivery 300 mL, after it 100 mL, total EBL 400 mL.",
    "when, not how long": "heparin five thousand units then a further one thousand after forty minutes clamps "
                          "on twelve thirty one off twelve fifty seven twenty six minutes no shunt",
    "tissue": "adenoids curetted about three millilitres of tissue pack in for two minutes and out again dexamethasone "
              "three point three milligrams",
    "the other foot years ago": "L scarf osteotomy for hallux valgus. R foot done 2021.",
    "a dose once more": "Cefazolin 2 g 07:31, redose 2 g 11:35, thymoglobulin 75 mg, methylprednisolone 500 mg.",
    "screws of a pelvis": "One sacroiliac screw of one hundred and sixty millimetres and a plate.",
    "a child's suppository": "Boy of 4, 16 kg. Paracetamol 480 mg PR. Cefazolin 480 mg IV.",
    "light and grown": "Woman of 71, 38 kg. Paracetamol 1 g IV. Cefazolin 2 g IV.",
    "both shares and the whole": "Lidocaine 1% + adrenaline 1:200,000 10 mL (100 mg), 5 mL per side.",
    "pressure of a compartment": "Pressure in the volar compartment thirty eight millimetres of mercury.",
    "a whole without its unit": "fat graft three millilitres under each cheek so six in all no drain",
    "run up to the whole": "Marrow from the left crest: five, ten, fifteen, a new hole, twenty and twenty five, so "
                           "twenty five millilitres in the syringe. All of it was injected into the left hip.",
    "so often so much": "marrow from the right crest seven millilitres six times that is forty two in total "
                        "all forty two millilitres were injected into the left knee",
    "one share for each of three": "three ports in the joint two millilitres down each port that's six and no more",
    "noon": "Tourniquet two hundred and fifty millimetres of mercury from eleven fourteen to twelve o'clock, forty six "
            "minutes.",
    "short of what ran in": "Hip arthroscopy, left. Nine litres in and eight point four litres out, six hundred "
                            "millilitres short.",
    "done after the cut": "Left carpal tunnel release. Cut at ten twelve, two centimetres, done at ten twenty five.",
    "a dose behind its solution": "Eight millilitres of two percent lidocaine with adrenaline one in two hundred "
                                  "thousand, one hundred and sixty milligrams of lidocaine.",
    "thick and long": "nail ten millimetres by thirty six centimetres and a tunnel of two centimetres by nine mm",
    "two sides in brackets": "PROCEDURE: ORIF mandible (right parasymphysis, left angle), extraction of tooth 17",
}  # fmt: skip
LOUD = {
    "a part of the dilution, told apart": ("diluted_dose", "Vasopressin 20 units in 100 mL saline. Of it 10 mL were "
                                           "injected."),
    "heparin far too strong": ("drug_strength", "syringe primed with one millilitre of heparin twenty thousand units "
                               "per millilitre"),
    "drain on the other side": ("side_conflict", "Video assisted wedge resection, right upper lobe. Chest drain twenty "
                                "eight French on the left."),
    "subacromial on the other side": ("side_conflict", "Procedure: L subacromial injection, US-guided. Dx: impingement "
                                      "R shoulder."),
    "more put in than was made": ("injection_total", "HARVEST: right iliac crest. 12 draws x 5 mL = 60 mL. Spun 14 "
        "min, 8 mL concentrate. Left side: 3 cm incision. 4 mL into the head, 14 mL intra-articular, nothing left."),
    "a clip too many": ("parts_and_total", "Cystic duct 3 clips, artery 2 clips + 1, total 7 clips."),
    "lidocaine twice": ("doubtful", "Ten millilitres of one percent lidocaine twice."),
    "another drug in between": ("allergy", "allergic to penicillin flucloxacillin one gram was given"),
    "other knee opened": ("side_conflict", "Arthroscopy of the right knee. The left knee was opened, no drain."),
    "a screw as long as a forearm": ("plausible", "Left scaphoid, one headless screw of twenty four centimetres."),
    "ten times for a child": ("drug_dose", "Boy of 4, 16 kg. Paracetamol 1600 mg PR."),
    "grams of a drug of milligrams": ("drug_dose", "thirty grams of mitomycin in thirty mils into the bladder"),
    "adrenaline a hundred times": ("adrenaline", "Lidocaine 1% + adrenaline 1:2,000 10 mL (100 mg), 5 mL per side."),
    "pressure in a length": ("units", "Pressure in the volar compartment three hundred and eighty millimetres."),
    "a whole that is not both": ("stated_sums", "fat graft three millilitres under each cheek so nine in all"),
    "run up past the whole": ("stated_sums", "Marrow from the left crest: five, ten, fifteen, a new hole, twenty and "
                              "twenty five, so thirty five in the syringe."),
    "so often so much is more": ("stated_sums", "marrow from the right crest seven millilitres six times that is "
                                 "thirty two in total"),
    "one share too many": ("stated_sums", "three ports in the joint two millilitres down each port that's eight and no "
                           "more"),
    "more than came off": ("stated_sums", "right knee fifteen millilitres of clear fluid off then forty milligrams of "
        "triamcinolone now the left knee ten millilitres off so thirty five millilitres in total"),
    "too few minutes until noon": ("tourniquet_times", "Tourniquet two hundred and fifty millimetres of mercury "
                                   "from eleven fourteen to twelve o'clock, sixteen minutes."),
    "shorter than out of in": ("irrigation_deficit", "Hip arthroscopy, left. Nine litres in and eight point four "
                               "litres out, sixteen hundred millilitres short."),
    "done before the cut": ("time_order", "Left carpal tunnel release. Incision at ten twelve, two centimetres, done "
                            "at nine twenty five."),
    "done before the start, streamed": ("time_order", "started fifteen twelve counts correct no complications done "
                                        "fourteen oh five"),
    "a dose behind another solution": ("dose_arithmetic", "Eight millilitres of two percent lidocaine with adrenaline "
        "one in two hundred thousand, sixteen milligrams of lidocaine."),
    "thicker than long": ("units_in_words", "nail ten centimetres by three hundred and sixty millimetres"),
    "the mixture": ("mixture_total", "forty milligrams triamcinolone, three millilitres of one percent lidocaine and "
                    "four millilitres of ropivacaine point two percent, mixed, five millilitres altogether"),
    "a bare number that is no sum": ("unit_missing", "Right knee arthroscopy. Blood loss fifty. No complications."),
    "tourniquet on the other side": ("side_conflict", "left knee arthroscopy and partial meniscectomy tourniquet on "
                                     "the right thigh no complications"),
    "injection of the other side": ("side_conflict", "right knee arthroscopy partial medial meniscectomy at the end "
                                    "the left knee was injected with forty milligrams of triamcinolone"),
    "one level astray": ("level_conflict", "Preoperative diagnosis: L3-L4 stenosis. Procedure: TLIF L5-S1. Time out "
                         "L5-S1. Screws were placed at L5 and S1."),
    "screws too few": ("listed_count", "Procedure: posterior fusion. Five screws: L4, L5, S1. No complications."),
    "two numbers of one lens": ("device_identity", "right eye phaco and lens plus twenty one dioptres serial number "
        "four four seven one nine in the bag no complications for the register lens serial eight eight two five six"),
    "deeper than the needle is long": ("needle_depth", "marrow aspiration right posterior iliac crest with a ten "
        "centimetre needle first draw at two centimetres five millilitres then deeper to twelve centimetres five "
        "millilitres"),
    "deeper than the needle went": ("needle_depth", "marrow harvest from the right crest with an eleven gauge needle "
        "the needle was advanced to four centimetres first draw five millilitres then advanced one centimetre second "
        "draw at nine centimetres five millilitres"),
    "deeper though drawn back": ("needle_depth", "marrow from the left posterior crest eleven gauge needle first draw "
        "at four centimetres five mils back one centimetre second draw at five centimetres five mils"),
}  # fmt: skip


@pytest.mark.parametrize("text", QUIET.values(), ids=QUIET)
def test_nothing_is_asked_aloud(text: str) -> None:
    assert loud(text) == []


@pytest.mark.parametrize(("check", "text"), LOUD.values(), ids=LOUD)
def test_an_error_is_asked_aloud(check: str, text: str) -> None:
    assert [one for one in loud(text) if one.startswith(f"{check}:")]
