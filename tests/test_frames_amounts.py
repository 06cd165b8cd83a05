"""How surgeons say how much marrow, blood or fat was drawn, made of it, given, lost, kept or only meant: sentences with
amounts, and what each amount is. Read as spoken, and with the marks left out.

A frame is a sentence, `{12}` an amount in millilitres, and what it says behind the arrow: D a draw, T what was drawn in
all, N how many draws, X discarded, P product, I injected, IT injected in all, FO fluid out, MV a medicine, DS the size
of a device and so on (CODES); `e` for each, `r` and `l` the side, `~` not performed, `|` or, `?` may be left out. The
frames and what each says are common English usage, no source. What is asked: no amount stands as something that was
not said without a doubt on it or a finding that names it; and the plain ways are understood.
"""

from __future__ import annotations

import re

import pytest

from pipeline import grammar, run
from pipeline.note import OperativeNote
from pipeline.records import Fact

CODES = {
    "D": "draw", "T": "harvest_total", "N": "draw_count", "X": "discarded_volume", "P": "product_volume",
    "I": "injection_volume", "IT": "injection_total", "FO": "fluid_out", "MV": "medication_volume",
    "DS": "device_size", "DC": "device_count", "HD": "harvest_depth", "HN": "harvest_needle", "FI": "fluid_in",
    "IR": "irrigation_in", "IO": "irrigation_out", "IN": "injection_needle", "BL": "blood_loss",
}  # fmt: skip
FURTHER = {"medication_dose", "measurement"}
SIDES = {"r": "right", "l": "left"}
_UNITS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
          "sixteen seventeen eighteen nineteen").split()
_TENS = {20: "twenty", 30: "thirty", 40: "forty", 50: "fifty", 60: "sixty", 80: "eighty", 90: "ninety"}

DRAWN = "Marrow concentrate injection into the right knee. Left posterior iliac crest."
DRAWN_TOLD = """
I drew {10} => D10|T10
{10} drawn => D10|T10
{10} came out => D10|T10
{10} could be drawn => D10|T10
we took {10} from it => D10|T10
took out {10} => D10|T10
got {10} out of it => D10|T10
it gave us {10} => D10|T10
{10} were obtained => D10|T10
managed to get {10} => D10|T10
we withdrew {10} => D10|T10
{10} filled into the syringe => D10|T10
the syringe was filled with {10} => D10|T10
we got {10} altogether => D10|T10
collected {10} in all => D10|T10
harvested a total of {10} => D10|T10
the harvest was {10} => D10|T10
amount drawn {10} => D10|T10
volume drawn: {10} => D10|T10
{10} ended up in the bag => D10|T10
first pull {5}, second pull {5}, third {4}, so that's {14} => D5 D5 D4 T14
{5}, then {5}, then {4}, that's {14} in all => D5 D5 D4 T14
{5}, {5} and {4}, which makes {14} => D5 D5 D4 T14
{5} and another {5}, {10} in all => D5 D5 T10
{5} and again {5}, giving {10} => D5 D5 T10
{5}, {5}, {4}, sum {14} => D5 D5 D4 T14
{5} plus {5} plus {4} is {14} => D5 D5 D4 T14
{6}, {7} and {8} for a total of {21} => D6 D7 D8 T21
{6}, {7} and {8} to give {21} => D6 D7 D8 T21
{6}, {7} and {8}, we have {21} => D6 D7 D8 T21
{6}, {7} and {8}, I make that {21} => D6 D7 D8 T21
{6}, {7} and {8}, adds up to {21} => D6 D7 D8 T21
{6}, {7} and {8}, {21} now => D6 D7 D8 T21
{6}, {7} and {8}, {21} so far, and {5} more => D6 D7 D8 T21 D5
four pulls of {5} each, {20} in total => N4 D5e T20
{5} four times, {20} in all => N4 D5e T20
{5} each from four pulls => N4 D5e
four pulls, {5} each => N4 D5e
four pulls with {5} each time => N4 D5e
four pulls yielding {5} apiece => N4 D5e
four pulls yielding {20} => N4 T20|D20
{20} from four pulls => N4 T20|D20
{20} in four pulls of {5} => N4 T20|D20 D5e
four syringes of {5} => D5e N4? DC4?
four syringes with {5} each => D5e N4? DC4?
{5} per pull, four pulls => D5e N4
{5} with each pull => D5e
{5} at a time until we had {20} => D5e T20|D20
in {5} portions, {20} altogether => D5e T20|D20
{4}, then the same again, so {8} => D4 D4? T8
first pull {4}, the second the same, {8} => D4 D4 T8
{4} and the same again => D4 D4
{4}, turned, the same again, turned, the same again, {12} in all => D4 D4? D4? T12
{4}, the second likewise, together {8} => D4 D4? T8
{4}, ditto second pull, total {8} => D4 D4? T8
{4} and once more, {8} => D4 D4? T8
{4} twice, so {8} => D4e|D4 N2? D4? T8
{4}, then another such pull, {8} => D4 D4? T8
{5} makes five, another {5} makes ten, another {5} makes fifteen => D5 D5 D5 T5? T10? T15?
we are at {20} now => T20|D20
that brings us to {20} => T20|D20
planned {60}, got {48} => D48|T48 D60~? T60~?
we wanted {60} but only got {48} => D48|T48 D60~? T60~?
the aim was {60}, we got {48} => D48|T48 D60~? T60~?
the target was {60}; {48} obtained => D48|T48 D60~? T60~?
{60} were to be taken, only {48} came => D48|T48 D60~? T60~?
instead of {60} we have {48} => D48|T48 D60~? T60~?
{48} rather than {60} => D48|T48 D60~? T60~?
{48} of the planned {60} => D48|T48 D60~? T60~?
{48}, {12} short of the {60} needed => D48|T48 D60~? T60~?
usually I take {60}, today {48} => D48|T48 D60~? T60~?
last time we took {60}, today {48} => D48|T48 D60~? T60~?
in May {60} were drawn, today {48} => D48|T48 D60~? T60~?
her sister gave {60} last year, today {48} from her => D48|T48 D60~? T60~?
the kit needs {60}, {48} drawn => D48|T48
the kit takes {60}, {48} drawn => D48|T48
the syringe holds {60}, {48} drawn => D48|T48
in a {60} syringe, {48} drawn => D48|T48 DS60?
drawn into a {60} syringe => DS60?
{60} sorry {48} drawn => D48|T48
{48} not {60} drawn => D48|T48
{60} drawn, no, {48} => D48|T48
{60}, correction, {48} drawn => D48|T48
up to {60} may be taken, we took {48} => D48|T48 D60~? T60~?
no more than {60} should be taken, we took {48} => D48|T48 D60~? T60~?
if needed another {20} can be drawn, {48} for now => D48|T48 D20~?
I could have taken {60}, {48} was enough => D48|T48 D60~? T60~?
{60} drawn, of which {10} were discarded => D60|T60 X10
{60} drawn, the first {5} discarded => D60|T60 X5
the first {5} discarded, then {50} collected => X5 D50|T50
{5} discarded, {50} drawn => X5 D50|T50
{50} drawn, {5} lost, {45} left => D50|T50 X5 T45? D45?
{50} drawn, {5} spilt => D50|T50 X5
{50} drawn, {5} clotted and thrown away => D50|T50 X5
{50} drawn, {2} to the lab, the rest spun => D50|T50
{50} drawn, {2} sent for culture, {48} spun => D50|T50 T48?
{50} drawn, half of it spun => D50|T50
{50} drawn, half of it, {25}, spun => D50|T50 T25? D25?
{50} drawn, a fifth of it discarded, {10} => D50|T50 X10
{50} less the {5} spilt, so {45} => D50|T50 X5 T45
{50} drawn and {5} put back => D50|T50
{50} drawn, {30} used and {20} kept => D50|T50 T30?
{54} drawn into {6} of citrate => D54|T54 MV6
{6} of citrate in the syringe, then {54} drawn, {60} in all => D54|T54 MV6 T60
{60} including {6} of citrate => D60|T60 MV6
{60} which includes {6} of ACD => D60|T60 MV6
{60} with the citrate => T60|D60
{60} net of citrate => T60|D60
{60} drawn with {6} of ACD, so {66} => D60|T60 MV6 T66
{1} of citrate to nine of marrow, {60} altogether => T60|D60 MV1? MV1e?
"""
DRAWN_IN_DOUBT = """
{6}, {7} and {8}, that should be {21} => D6 D7 D8 T21
four times {5}, so {20} => N4? D5e T20
{20} over four pulls => N4 T20|D20
{5}, {10} so far, {15}, and {20} at the end => D5? T20|D20 T10? T15?
running total {5}, {10}, {15} => T15?
syringe at {5}, then {10}, then {15}, stopped => D5? T15?
up to {20} by now => T20|D20
{8} first, then up to {20} => D8 T20
{54} of marrow with {6} of ACD-A, {60} in the bag => D54|T54 MV6 T60
each syringe with {1} of heparin then filled to {10}, six of them, {60} => MV1e MV1? D10e? N6? T60|D60 DC6?
"""

MADE = "PRP injection into the right elbow. Venous blood from the left arm, {60} drawn."
MADE_TOLD = """
spun down to {6} => P6
{6} of concentrate => P6
concentrate {6} => P6
spun, gave {6} => P6
spun; yield {6} => P6
the kit gave {6} back => P6
the spin left us with {6} => P6
after the spin we had {6} => P6
we ended up with {6} of product => P6
reduced to {6} => P6
processed to {6} => P6
concentrated to {6} => P6
condensed to {6} => P6
volume after spinning {6} => P6
final product {6} => P6
final volume {6} => P6
{6} ready for injection => P6
{6} available after the spin => P6
spun, {6} came back => P6
spun for fifteen minutes, {6} => P6
spun, {6} drawn off the top => P6
after spinning {6} were drawn off => P6
spun, {6} out => P6
spun, of which {6} concentrate and {54} discarded => P6 X54
spun to {6}, {54} thrown away => P6 X54
spun, the {54} of plasma discarded, {6} kept => P6 X54
spun, {6} retained and {54} discarded => P6 X54
spun, we kept {6} and threw away the rest => P6
spun, kept the middle {6} => P6
spun to {6} instead of {8} => P6
spun to {6} not {8} => P6
spun to {6} correction {8} => P8
spun to {6}, two syringes of {3} each => P6 P3e? DC2?
spun to {6}, split into {3} and {3} => P6 P3? P3? P3?
"""
MADE_IN_DOUBT = """
separated, {6} of it usable => P6
spun twice, {20} after the first and {6} after the second spin => P6 P20?
spun, first {20}, then {6} => P6 P20?
spun to {6}, should have been {8} => P6
"""

GIVEN = (
    "Marrow concentrate injection into the right knee. Left posterior iliac crest, {60} drawn. "
    "Spun to {6} of concentrate."
)
GIVEN_TOLD = """
{6} injected => I6
all {6} in => I6
the whole {6} in => I6
the whole {6} went in => I6
{6} given => I6
put in {6} => I6
put {6} in => I6
{6} into the joint => I6
{6} went into the joint => I6
{6} deposited => I6
{6} instilled => I6
{6} delivered => I6
{6} placed in the joint => I6
{6} in => I6
injected all {6} of it => I6
injected the entire {6} => I6
it all went in, {6} => I6
all of it in, {6} => I6
injected it all, {6} => I6
the full {6} was injected => I6
we injected it, {6} in total => I6|IT6
{4} into the joint and {2} around it => I4 I2
{4} in the joint, {2} beside it, so {6} in all => I4 I2 IT6|I6
{4} in the joint, {2} beside it, {6} in total => I4 I2 IT6|I6
{4} into the joint, the rest around it => I4
{4} into the joint, the remaining {2} around it => I4 I2
{4} into the joint, the other {2} beside it => I4 I2
half of the {6} into the joint =>
half of it into the joint, the other half, {3}, around it => I3
of the {6}, {4} went in => I4
{4} of the {6} went in => I4
{4} of those {6} injected => I4
{4} given, {2} left over => I4
{4} given, {2} not used => I4
{4} given, {2} kept back => I4
{4} given, {2} discarded => I4 X2
{4} given, the remaining {2} discarded => I4 X2
{4} given and {2} thrown away => I4 X2
{4} given, {2} to the lab => I4
{4} given, {2} saved for culture => I4
{4} given, {2} frozen => I4
of {6}, {2} discarded so {4} given => I4 X2
{6} was the plan, {4} went in => I4 I6~?
wanted to give {6} but only {4} went in => I4 I6~?
could only get {4} in => I4
stopped at {4} => I4?
{6} prepared, {4} given => I4 P6?
{6} in the syringe, {4} given => I4 P6?
{6} drawn up, {4} given => I4 P6?
{6} handed to me, {4} given => I4 P6?
{2} in each of three spots => I2e
{2} each in three spots, so {6} => I2e IT6|I6
three times {2} => I2e
{2} times three => I2e
three injections of {2} => I2e
{2} at three points => I2e
{2} per point, three points, {6} altogether => I2e IT6|I6
{2} medially, {2} laterally and {2} in the middle => I2 I2 I2
{2} medially and the same laterally => I2 I2?
{2} medially, {2} more laterally => I2 I2
{4} injected, then another {2} => I4 I2
{4} not {6} injected => I4
{6}, no, {4} injected => I4
{6} sorry {4} injected => I4
{4} will be given next month, {6} today => I6 I4~?
last time {4}, today {6} injected => I6 I4~?
in March she had {4}, today {6} injected => I6 I4~?
tested with {1} of saline, then {6} in => I6 MV1?
{2} of contrast, then {6} in => I6 MV2?
{9} of effusion off first, then {6} in => FO9 I6
nine of fluid off, then {6} in => I6 FO9?
{9} of straw coloured fluid aspirated, {6} injected => FO9 I6
{9} aspirated from the joint, {6} injected => FO9 I6
joint emptied of {9}, {6} injected => FO9 I6
{9} drained, then {6} in => FO9 I6
{5} of lidocaine for the track, {6} of it in => MV5 I6
{5} of ropivacaine around the portal and {6} into the joint => MV5 I6
{6} mixed with {2} of thrombin and given => MV2 I6?
"""
GIVEN_IN_DOUBT = """
in with {6} => I6
half of it, {3}, into the joint => I3
{4} out of {6} injected => I4
it would not take more than {4} => I4
{4} was all it would take => I4
first {4}, then {2} more into the joint => I4 I2
flushed with {3} of saline, {6} in => I6
{6} in, needle flushed with {1} of saline => I6
{6} with {2} of calcium injected => MV2 I6
"""

AT_ONCE = "PRP injection into the right knee."
AT_ONCE_TOLD = """
{6} injected => I6
all {6} in => I6
the whole {6} in => I6
the whole {6} went in => I6
{6} given => I6
put in {6} => I6
put {6} in => I6
{6} into the joint => I6
{6} went into the joint => I6
{6} deposited => I6
{6} instilled => I6
{6} delivered => I6
{6} placed in the joint => I6
{6} in => I6
in with {6} => I6
injected all {6} of it => I6
injected the entire {6} => I6
it all went in, {6} => I6
all of it in, {6} => I6
injected it all, {6} => I6
the full {6} was injected => I6
we injected it, {6} in total => I6|IT6
{4} into the joint and {2} around it => I4 I2
{4} in the joint, {2} beside it, so {6} in all => I4 I2 IT6|I6
{4} in the joint, {2} beside it, {6} in total => I4 I2 IT6|I6
{4} into the joint, the rest around it => I4
{4} into the joint, the remaining {2} around it => I4 I2
{4} into the joint, the other {2} beside it => I4 I2
half of it, {3}, into the joint => I3
half of the {6} into the joint =>
half of it into the joint, the other half, {3}, around it => I3
of the {6}, {4} went in => I4
{4} of the {6} went in => I4
{4} of those {6} injected => I4
{4} given, {2} left over => I4
{4} given, {2} not used => I4
{4} given, {2} kept back => I4
{4} given, {2} discarded => I4 X2
{4} given, the remaining {2} discarded => I4 X2
{4} given and {2} thrown away => I4 X2
{4} given, {2} to the lab => I4
{4} given, {2} saved for culture => I4
{4} given, {2} frozen => I4
{6} was the plan, {4} went in => I4 I6~?
wanted to give {6} but only {4} went in => I4 I6~?
could only get {4} in => I4
{4} was all it would take => I4
stopped at {4} => I4?
{6} prepared, {4} given => I4 P6?
{6} drawn up, {4} given => I4 P6?
{2} in each of three spots => I2e
{2} each in three spots, so {6} => I2e IT6|I6
three times {2} => I2e
{2} times three => I2e
three injections of {2} => I2e
{2} at three points => I2e
{2} medially, {2} laterally and {2} in the middle => I2 I2 I2
{2} medially and the same laterally => I2 I2?
{2} medially, {2} more laterally => I2 I2
{4} injected, then another {2} => I4 I2
first {4}, then {2} more into the joint => I4 I2
{4} not {6} injected => I4
{6}, no, {4} injected => I4
{6} sorry {4} injected => I4
{4} will be given next month, {6} today => I6 I4~?
last time {4}, today {6} injected => I6 I4~?
in March she had {4}, today {6} injected => I6 I4~?
tested with {1} of saline, then {6} in => I6 MV1?
{2} of contrast, then {6} in => I6 MV2?
{9} of effusion off first, then {6} in => FO9 I6
nine of fluid off, then {6} in => I6 FO9?
{9} of straw coloured fluid aspirated, {6} injected => FO9 I6
{9} aspirated from the joint, {6} injected => FO9 I6
joint emptied of {9}, {6} injected => FO9 I6
{9} drained, then {6} in => FO9 I6
{6} mixed with {2} of thrombin and given => MV2 I6?
"""
AT_ONCE_IN_DOUBT = """
{4} out of {6} injected => I4
it would not take more than {4} => I4
{5} of lidocaine for the track, {6} of it in => MV5 I6
{5} of ropivacaine around the portal and {6} into the joint => MV5 I6
flushed with {3} of saline, {6} in => I6
{6} in, needle flushed with {1} of saline => I6
{6} with {2} of calcium injected => MV2 I6
"""


MIXED = "Marrow concentrate injection into the right knee. Left posterior iliac crest."
MIXED_TOLD = """
{54} drawn into {6} of citrate => D54|T54 MV6
{54} drawn with {6} of ACD-A => D54|T54 MV6
{6} of ACD-A in the syringe, {54} of marrow drawn => D54|T54 MV6
the bag held {6} of ACD-A, {54} of marrow went in => D54|T54 MV6
{54} of marrow to {6} of ACD-A => D54|T54 MV6
{6} ACD-A per {54} marrow => D54|T54 MV6
ACD-A {6} to {54} of marrow => D54|T54 MV6
anticoagulated with {6} of ACD-A, {54} of marrow => D54|T54 MV6
with {1} of ACD-A in each of six syringes, {54} drawn => D54|T54 MV1e|MV1 DC6?
each of the six syringes had {1} of ACD-A, {9} drawn into each => D9e MV1e|MV1 DC6? N6?
ten percent ACD-A, that is {6} for {54} => D54|T54? MV6
ACD-A {6}, that is ten percent of the {60} => MV6 T60? D60?
syringes rinsed with heparin, {54} drawn => D54|T54
syringes wetted with {2} of heparin and emptied, {54} drawn => D54|T54 MV2
{2} of heparin squirted out again, {54} drawn => D54|T54 MV2
no anticoagulant, {54} drawn => D54|T54
{54} drawn without citrate => D54|T54
{54} drawn, {6} of it citrate => D54|T54 MV6
{60} in the syringe, {6} of it citrate => T60|D60 MV6
{60} in the syringe, {6} of which was ACD-A => T60|D60 MV6
"""
MIXED_IN_DOUBT = """
{8} of ACD-A drawn up, {6} used, {54} drawn => D54|T54 MV8 MV6?
the kit comes with {8} of ACD-A, {6} used, {54} drawn => D54|T54 MV6
"""

DEEP = "Marrow concentrate injection into the right knee. Left posterior iliac crest."
DEEP_TOLD = """
needle two centimetres deep, {10} drawn => HD2 D10|T10
two centimetres below the cortex, {10} drawn => HD2 D10|T10
two centimetres into the crest, {10} drawn => HD2 D10|T10
advanced two centimetres past the cortex, {10} drawn => HD2 D10|T10
trocar in two centimetres, {10} drawn => HD2 D10|T10
trocar two centimetres in, {10} drawn => HD2 D10|T10
at two centimetres {10} drawn => HD2 D10|T10
at a depth of two centimetres {10} drawn => HD2 D10|T10
depth two centimetres, {10} drawn => HD2 D10|T10
went two centimetres deep, {10} drawn => HD2 D10|T10
two centimetres under the bone, {10} drawn => HD2 D10|T10
with the tip at two centimetres, {10} drawn => HD2 D10|T10
with the tip two centimetres beyond the cortex, {10} drawn => HD2 D10|T10
eleven gauge needle ten centimetres long, two centimetres in, {10} drawn => HN11 HN10|DS10 HD2 D10|T10
eleven gauge ten centimetre needle, {10} drawn => HN11 HN10 D10|T10
an eleven gauge, ten centimetre Jamshidi, {10} drawn => HN11 HN10 D10|T10
Jamshidi eleven gauge times ten centimetres, two centimetres deep, {10} drawn => HN11 HN10|DS10 HD2 D10|T10
Jamshidi 11 gauge by 4 inches, {10} drawn => HN11 HN4 D10|T10
stab of three millimetres, trocar two centimetres deep, {10} drawn => HD2 D10|T10
"""
DEEP_IN_DOUBT = """
to two centimetres, {10} drawn => HD2 D10|T10
stab incision three millimetres, two centimetres deep, {10} drawn => HD2 D10|T10
"""

BOTH = "PRP injection into both knees. Blood from the left arm, {60} drawn. Spun to {12} of PRP."
BOTH_TOLD = """
{6} into each knee => I6e
{6} each knee => I6e
{6} per knee => I6e
{6} a knee => I6e
{6} each => I6e
{6} each side => I6e
{6} on each side => I6e
{6} per side => I6e
{6} right, {6} left => I6r I6l
{6} on the right and {6} on the left => I6r I6l
{6} into the right and {6} into the left => I6r I6l
right {6}, left {6} => I6r I6l
right knee {6}, left knee {6} => I6r I6l
right {7}, left {5} => I7r I5l
{7} in the right and the remaining {5} in the left => I7r I5l
{7} in the right, the rest in the left => I7r
{6} in the right and the same in the left => I6r I6?
right knee first, {7} in, then the left, {5} => I7r I5l
split evenly, {6} each => I6e
both knees with {6} each => I6e
both got {6} => I6e|I6
the right got {7}, the left {5} => I7r I5l
right knee got {7} and left knee {5} => I7r I5l
{6} went into each knee, {12} in all => I6e IT12|I12
right {6} given, left not done => I6r
left knee {5}, {7} for the right => I7r I5l
"""
BOTH_IN_DOUBT = """
half in each, {6} => I6e|I6
{6} and {6} => I6 I6
"""

JOINT = "Right knee arthroscopy."
JOINT_TOLD = """
{30} of effusion aspirated => FO30
{30} of clear fluid drained => FO30
aspirated {30} of blood stained fluid => FO30
{30} aspirated => FO30
the joint was aspirated of {30} => FO30
{30} of fluid off the joint => FO30
{30} of pus washed out => FO30
haemarthrosis of {30} evacuated => FO30
{30} of old blood evacuated => FO30
effusion, {30} => FO30
effusion about {30} => FO30
an effusion of {30} was drained => FO30
dry tap =>
{30} drained and sent => FO30
the GP drained {30} last week => FO30~?
{20} of saline in and {20} out => IR20|MV20|FI20|I20 FO20|IO20?
{20} of 0.5 % ropivacaine into the joint => MV20
{20} of 0.5 % ropivacaine, {10} in the joint and {10} around the portals => MV20? MV10 MV10
{10} of bupivacaine in each portal => MV10e
{10} of bupivacaine into the joint and the same into the portals => MV10 MV10?
"""
JOINT_IN_DOUBT = """
{30} off => FO30
{30} of fluid, {2} of it sent => FO30
{30} of fluid, {2} for culture => FO30
last time {30} were drained, today {10} => FO10 FO30~?
{30} drained before, today {10} => FO10 FO30~?
estimated {30} but only {10} came => FO10 FO30?
no more than {10} of fluid => FO10
{10} of saline to distend the joint => MV10|IR10|I10|FI10
joint distended with {40} of saline => MV40|IR40|I40|FI40
portals with {10}, joint with {10} of 0.5 % bupivacaine => MV10 MV10
half of the {20} of bupivacaine into the joint =>
{20} of bupivacaine drawn up, {10} given => MV10
{20} of bupivacaine, {5} left over => MV20
{20} of bupivacaine less the {5} spilt => MV20
"""


PULLS = "Marrow concentrate injection into the right knee. Left posterior iliac crest."
PULLS_TOLD = """
{6}, er, {7} drawn => D7|T7 D6?
{6}, um, {7}, and {8} => D7 D8 D6?
draw one {6}, draw two {7}, draw three {8}, all in all {21} => D6 D7 D8 T21
aspirate 1: {6}, aspirate 2: {7}, total {13} => D6 D7 T13
first hole {6} and {7}, second hole {8}, {21} in all => D6 D7 D8 T21
{6} from the first hole, {7} from the second, {13} together => D6 D7 T13
hole one {6}, hole two {7}, sum {13} => D6 D7 T13
upper track {6}, lower track {7}, {13} in total => D6 D7 T13
{13} through one hole => D13|T13
first syringe {10}, second syringe {9}, nineteen => D10 D9 T19
two syringes, {10} and {9}, so {19} => D10 D9 T19 DC2? N2?
filled two syringes of {10} => D10e|D10 DC2? N2?
{10} was frothy and discarded, then {20} good ones => X10 D20|T20
{10}, clotted, discarded => X10 D10?
{10} first for the lab, then {40} for us => D40|T40 D10?
{4} for histology, {40} for concentration => D40|T40 D4?
the first {2} to the lab, {40} to the kit => D40|T40 D2?
nothing in the first, {8} in the second => D8|T8
dry, turned, {8} => D8|T8
dry tap twice, third time {8} => D8|T8
barely {3} => D3|T3
only a few drops, then {8} => D8|T8
{8}, not more => D8|T8
{8} at most => D8? T8?
{8} or so => D8|T8
{8} I think => D8|T8
{8} give or take => D8|T8
roughly {8} => D8|T8
a good {8} => D8|T8
{8} plus a bit => D8|T8
close to {8} => D8? T8?
"""
PULLS_IN_DOUBT = """
{8} maybe {9} => D8? D9?
"""

TENDON = "PRP injection into the right elbow. Venous blood from the left arm, {30} drawn. Spun to {5} of PRP."
TENDON_TOLD = """
{3} into the tendon, {1} under it, {1} thrown away => I3 I1 X1
{3} in five passes => I3
{3} in five passes of the needle, {2} left in the syringe => I3
{3} peppered into the origin => I3
{3} deep, {2} superficial => I3 I2
{5} in all, {3} deep and {2} superficial => IT5|I5 I3 I2
the {5} were injected, {3} deep and {2} superficial => I5? I3 I2 IT5?
{5} under ultrasound => I5
{5} via a twenty two gauge => I5 IN22
{5} mixed with {1} of lidocaine => MV1 I5? P5?
{1} of lidocaine to the skin and {5} to the tendon => I5 MV1
{5} of the second batch => I5? P5?
{5} today, {5} more in three weeks => I5 I5~?
{5} will follow in three weeks => I5~?
she should have another {5} in three weeks => I5~?
{5} given, patient fainted after {3} => I5? I3?
{3} in when he fainted, rest not given => I3
{3} out of the {5} could be injected => I3
{1} leaked out =>
needle blocked, {1} lost, {4} injected => I4 X1
"""
TENDON_IN_DOUBT = """
{3} intratendinous, {2} peritendinous => I3 I2
{3} fanned out => I3
{3} at the enthesis and {2} along the tendon => I3 I2
{5} slowly over two minutes => I5
{5} against resistance => I5
{5} without resistance => I5
{5} with a twenty two gauge needle => I5 IN22
{5} after {1} of lidocaine => I5 MV1
{1} of lidocaine, then the {5} => I5 MV1
{5} this time, {4} last time => I5 I4~?
{5} today and again {5} next month => I5 I5~?
stopped after {3} because of pain => I3
leaked {1}, so {4} stayed in => I4
"""

SCOPE = "Right knee arthroscopy."
SCOPE_TOLD = """
{5} of ropivacaine at the portals, {15} in the joint => MV5 MV15
{15} of ropivacaine in the joint, {5} at the portals => MV15 MV5
{20} of ropivacaine, half in the joint => MV20
{20} of ropivacaine, {5} thrown away => MV20? X5
{20} drawn up, {15} of ropivacaine given => MV15
{20} prepared but only {15} of ropivacaine given => MV15
{15} not {20} of ropivacaine => MV15
{20} of ropivacaine, no, {15} => MV15
he had {20} of ropivacaine from the anaesthetist and {10} from us => MV20 MV10?
{10} of ropivacaine by the anaesthetist => MV10
three litres of saline through the joint and {30} of ropivacaine => IR3 MV30
{30} of blood in the bottle => FO30? BL30?
{30} of blood lost => BL30
{30} in the drain => FO30?
"""
SCOPE_IN_DOUBT = """
{5} of clear fluid aspirated and {2} of steroid injected => FO5
{40} of saline used, {30} came back => IR40|FI40 IO30
{15} of ropivacaine, I usually give {20} => MV15
{30} of blood aspirated from the joint => FO30
"""


FAT = "Fat graft of both breasts."
FAT_TOLD = """
{200} of tumescent in each flank, {300} of lipoaspirate => I200e|MV200e|FI200e FO300
abdomen infiltrated with {200} of Klein solution, {300} of lipoaspirate harvested => I200|MV200|FI200 FO300
{300} of fat aspirated from the abdomen => FO300
{150} from the right thigh, {150} from the left => FO150r|D150r FO150l|D150l
{300} of lipoaspirate decanted to {180} => FO300 P180
{300} of lipoaspirate, {120} of supernatant discarded, {180} of fat => FO300 X120 P180
{300} of lipoaspirate, after washing {180} left => FO300 P180
{180} of pure fat, {90} into each breast => P180 I90e
{180} of pure fat, {100} right and {80} left => P180 I100r I80l
{100} in the right breast and {80} in the left => I100r I80l
right breast {100}, left breast {80} => I100r I80l
{90} per breast => I90e
{90} into each breast, {20} discarded => I90e X20
{90} into each breast, {180} in all => I90e IT180|I180
upper pole {40}, lower pole {50} on each side => I40e|I40 I50e|I50
{40} upper pole and {50} lower pole of the right breast => I40r|I40 I50r
"""


def _said(number: int) -> str:
    if number < len(_UNITS):
        return _UNITS[number]
    if number >= 100:
        return f"{_UNITS[number // 100]} hundred" + (f" and {_said(number % 100)}" if number % 100 else "")
    tens, rest = number // 10 * 10, number % 10
    return f"{_TENS[tens]} {_UNITS[rest]}" if rest else _TENS[tens]


def _spoken(text: str) -> str:
    words = re.sub(r"\{(\d+)\}", lambda m: _said(int(m[1])) + (" mil" if m[1] == "1" else " mils"), text)
    return re.sub(r"(^|[.] )([a-z])", lambda m: m[1] + m[2].upper(), words)


def _unmarked(text: str) -> str:
    return " ".join(re.sub(r"[.,:;]", " ", text.lower()).split())


def _frames(*texts: str) -> list[tuple[str, str]]:
    lines = [line for text in texts for line in text.strip().splitlines() if line]
    return [(said.strip(), meant.strip()) for said, _, meant in (line.partition("=>") for line in lines)]


def _is(fact: Fact, code: str) -> bool:
    told = re.fullmatch(r"([A-Z]+)(\d+)([e~rl]?)", code)
    assert told is not None, code
    done = fact.status == "performed" and fact.certainty == "affirmed"
    return (
        fact.kind == CODES[told[1]] and fact.value == int(told[2]) and done == (told[3] != "~")
        and (told[3] != "e" or fact.scale in ("each", "per_side"))
        and (told[3] not in SIDES or fact.laterality == SIDES[told[3]])
    )  # fmt: skip


def _judged(note: OperativeNote, meant: str) -> tuple[list[Fact], list[str]]:
    """(amounts that stand and were not said so, with no doubt on them and no finding; what was said and is missing)"""
    left = [f for f in note.facts if f.numeric and f.kind in {*CODES.values(), *FURTHER}]
    missing = []
    for word in meant.split():
        codes = word.rstrip("?").split("|")
        found = next((fact for fact in left if any(_is(fact, code) for code in codes)), None)
        if found is not None:
            left.remove(found)
        elif not word.endswith("?"):
            missing.append(word)
    named = [one for one in note.findings if one.check not in _OF_OTHERS and (one.check, one.severity) != _UNUSUAL]
    told = {fact for finding in named for fact in finding.facts}
    return [
        f for f in left
        if f.status == "performed" and f.certainty == "affirmed" and not f.doubts and f.id not in told
    ], missing  # fmt: skip


_OF_OTHERS = ("unit_missing", "prepared_not_given", "completeness")
_UNUSUAL = ("plausible", "note")
PARTS = {
    "drawn": (DRAWN, "", DRAWN_TOLD, DRAWN_IN_DOUBT), "made": (MADE, "D60|T60 ", MADE_TOLD, MADE_IN_DOUBT),
    "given": (GIVEN, "D60|T60 P6 ", GIVEN_TOLD, GIVEN_IN_DOUBT),
    "at once": (AT_ONCE, "", AT_ONCE_TOLD, AT_ONCE_IN_DOUBT),
    "mixed": (MIXED, "", MIXED_TOLD, MIXED_IN_DOUBT), "deep": (DEEP, "", DEEP_TOLD, DEEP_IN_DOUBT),
    "pulls": (PULLS, "", PULLS_TOLD, PULLS_IN_DOUBT), "scope": (SCOPE, "", SCOPE_TOLD, SCOPE_IN_DOUBT),
    "tendon": (TENDON, "D30|T30 P5 ", TENDON_TOLD, TENDON_IN_DOUBT),
    "fat": (FAT, "", FAT_TOLD, ""),
    "both": (BOTH, "D60|T60 P12 ", BOTH_TOLD, BOTH_IN_DOUBT), "joint": (JOINT, "", JOINT_TOLD, JOINT_IN_DOUBT),
}  # fmt: skip
PLAIN = [(part, *frame) for part, (_, _, told, _) in PARTS.items() for frame in _frames(told)]
ALL = [(part, *frame) for part, (_, _, *texts) in PARTS.items() for frame in _frames(*texts)]


@pytest.mark.parametrize(("part", "said", "meant"), PLAIN)
def test_amounts_are_what_was_said(part: str, said: str, meant: str) -> None:
    before, lead, *_ = PARTS[part]
    note = run.make_note(run.from_text(_spoken(f"{before} {said}.")), grammar.load())
    assert _judged(note, lead + meant) == ([], [])


@pytest.mark.parametrize(("part", "said", "meant"), ALL)
def test_no_amount_stands_wrong_without_marks(part: str, said: str, meant: str) -> None:
    before, lead, *_ = PARTS[part]
    note = run.make_note(run.from_text(_unmarked(_spoken(f"{before} {said}."))), grammar.load())
    assert _judged(note, lead + meant)[0] == []
