"""Number-like strings that are no quantities: levels, sutures, clock times, clock faces, dates, codes, labels.

Each reader looks at the tokens from `start` and gives the Quantity (with its canonical form in `text`) and the
index after it, or None. `read` tries them in an order in which the more particular comes first.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from pipeline import codes, day_times, four_digits, numerals, turned
from pipeline.clocks import clock, clock_face, word_at
from pipeline.compounds import shorthand
from pipeline.dates import date
from pipeline.figures import written
from pipeline.heard_clocks import heard_clock
from pipeline.levels import is_unit_like, levels, small
from pipeline.records import Quantity, Token
from pipeline.units import read_unit

Found = tuple[Quantity, int]

_SUTURE = re.compile(r"^#?(\d{1,2})[-/][0o]$")  # "3-0", "3/0"
_INTERVAL = re.compile(r"^q\.?(\d{1,2})(?:-(\d{1,2}))?(h|d|w)")
_POINTED = re.compile(r"^\d\.0$")
_TENS = re.compile(r"^([2-9]|1[01])0$")
_ZEROS = re.compile(r"^#?(0{2,6})$")
_LETTERED = re.compile(r"^(\d)[a-d]$")
_RATIO = re.compile(r"^(\d+):(\d{1,3}(?:,\d{3})+|\d+)(k?)$")
_SIZE = re.compile(r"^(\d{1,2})x(\d{1,2})(?:'?s)?$")
_PARITY = re.compile(r"^(?:g\d{1,2})?p\d{1,4}(?:a\d)?$|^g\d{1,2}$")

THREAD = frozenset(
    "suture sutures stitch stitches silk nylon vicryl monocryl prolene pds ethibond fiberwire fibrewire ethilon "
    "chromic gut catgut polypropylene polydioxanone poliglecaprone polyglactin polyester dexon maxon monosyn biosyn "
    "novafil surgipro tycron ticron mersilene stratafix quill polysorb caprosyn v-loc nurolon steel wire tie ties "
    "ligature ligatures monofilament braided absorbable nonabsorbable undyed dyed tevdek panacryl vicryls orthocord "
    "hi-fi maxbraid ultrabraid gore-tex goretex rapide tycryl vloc".split()
)
_BETWEEN = frozenset(
    "interrupted running continuous plain looped double-armed inverted subcuticular simple buried fast absorbing "
    "clear black white blue violet antibacterial coated of a the and barbed j loop".split()
)
LABELS = frozenset(
    "room suite theatre theater gr grade grades stage stages type types class level zone station segment tooth teeth "
    "gravida para asa mallampati pod bed case extension slot number no. size sizes outerbridge icrs gartland tanner "
    "ferkel lafosse gaechter laprade ob lachman hepple goutallier geissler dejour konan beck "
    "kellgren-lawrence lawrence hawkins garden schatzker gustilo category bi-rads birads rutherford".split()
)
_WORST = 5  # of the grades of a joint
_GRADED = frozenset(
    "grade grades stage stages type types class zone level factor nerve nerves division asa mallampati outerbridge "
    "icrs gartland schatzker gustilo garden hawkins harris lawrence neer salter segment category rutherford "
    "classification".split()
)
_BLADES = frozenset({"blade", "blades", "knife", "scalpel", "scalpels"})
_DILUTED = frozenset(
    "adrenaline epinephrine dilution diluted dilute solution ratio mixture epi lidocaine lignocaine bupivacaine "
    "ropivacaine marcaine xylocaine".split()
)


def _interval(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "q6h", "q.4-6h": how often."""
    match = _INTERVAL.match(norms[start])
    if match is None:
        return None
    low, high = Decimal(match[1]), Decimal(match[2]) if match[2] else None
    quantity = Quantity(value=low) if high is None else Quantity(low=low, high=high)
    unit = {"h": "h", "d": "d", "w": "wk"}[match[3]]
    return replace(
        quantity, unit=unit, said_unit=match[3], dimension="time", form="interval", text=norms[start]
    ), start + 1


def read(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """The first shape that fits at a token, or None."""
    norm = norms[start]
    before = norms[start - 1] if start else ""
    if (angle := turned.read(tokens, norms, start)) is not None:
        return angle
    if before in codes.CUES or before in codes.FILLERS or codes.in_list_of_lots(norms, start):
        if norm in codes.FILLERS and before in codes.CUES:
            return None
        found = codes.code(tokens, norms, start)
        if found is not None:
            return found  # "lot T four four one" is no vertebra
    if norm in "ctls" or (norm[0] in "ctls" and len(norm) > 1 and norm[1].isdigit()):
        return levels(tokens, norms, start)
    if norm[0] == "q" and (interval := _interval(tokens, norms, start)) is not None:
        return interval
    if norm in ("times", "x"):
        return _times(tokens, norms, start)
    if norm in numerals.ROMAN:
        return _roman(tokens, norms, start)
    if norm[0] in "gp":
        return (Quantity(form="parity", text=tokens[start].text), start + 1) if _PARITY.match(norm) else None
    long = codes.loose_code(tokens, norms, start)
    if long is not None and (len(long[0].text) > 4 or not long[0].text.isdigit()):
        return long
    written = not norm.isalpha()
    for reader in _WRITTEN if written else _SPOKEN:
        found = reader(tokens, norms, start)
        if found is not None:
            return found
    if long is not None or not written:
        return long
    return shorthand(tokens, norms, start) or codes.pair(tokens, norms, start)


_AIRWAY = frozenset("tube tubes ett endotracheal tracheal nasotracheal orotracheal tracheostomy".split())
_OF_A_TUBE = _AIRWAY | frozenset(
    "oral nasal cuffed uncuffed reinforced armoured armored rae north south facing".split()
)


def _tube(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "A seven five tube", "ETT seven oh": inner diameters in half millimetres (ISO 5361), as they are called out."""
    number, half = small(norms, start), word_at(norms, start + 1)
    if number is None or not 2 <= number <= 10 or half not in ("five", "oh", "o", "zero"):
        return None
    end = start + 2
    ahead = end
    while word_at(norms, ahead) in _OF_A_TUBE - _AIRWAY:
        ahead += 1
    before = {word_at(norms, start - 1), word_at(norms, start - 2)}
    if word_at(norms, ahead) not in _AIRWAY and not (before & _AIRWAY and not is_unit_like(word_at(norms, end))):
        return None
    said = " ".join(token.text for token in tokens[start:end])
    value = Decimal(f"{number}.{5 if half == 'five' else 0}")
    return Quantity(value=value, text=said, doubts=(f"'{said}' was read as {value}",)), end


def _thread_follows(norms: Sequence[str], index: int) -> bool:
    for at in range(index, min(index + 5, len(norms))):
        if norms[at] in THREAD or (norms[at] == "v" and word_at(norms, at + 1) in ("loc", "lock")):
            return True
        if norms[at] not in _BETWEEN:
            return False
    return False


def _written_suture(norms: Sequence[str], start: int) -> Found | None:
    norm = norms[start]
    match = _SUTURE.match(norm)
    if match and ("/" not in norm or _thread_follows(norms, start + 1) or word_at(norms, start - 1) in THREAD):
        return Quantity(form="suture", text=f"{int(match[1])}-0"), start + 1
    if _POINTED.match(norm) and _material_next(norms, start + 1):
        doubt = f"'{norm}' was read as the suture size {norm[0]}-0"
        return Quantity(form="suture", text=f"{norm[0]}-0", doubts=(doubt,)), start + 1
    tens = _TENS.match(norm)
    if tens and _material_next(norms, start + 1):
        doubt = f"'{norm}' was read as the suture size {tens[1]}-0"
        return Quantity(form="suture", text=f"{tens[1]}-0", doubts=(doubt,)), start + 1
    zeros = _ZEROS.match(norm)
    if zeros and _thread_follows(norms, start + 1):
        return Quantity(form="suture", text=f"{len(zeros[1])}-0"), start + 1
    return None


def _suture(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """USP sizes: "3-0", "three oh", "00", "0 Vicryl", "number one PDS", "#2 Ethibond". Text "3-0", "0", "2"."""
    norm = norms[start]
    if not norm.isalpha() and (found := _written_suture(norms, start)) is not None:
        return found
    number, end = small(norms, start), start + 1
    if norm in numerals.REPEATED and word_at(norms, start + 1) in ("oh", "o", "zero", "0", "aught"):
        if _thread_follows(norms, start + 2):
            return Quantity(form="suture", text=f"{numerals.REPEATED[norm]}-0"), start + 2
        return None
    if (
        number is not None
        and 0 < number <= 12
        and word_at(norms, end) in ("oh", "o", "0", "zero", "aught", "ought", "naught")
    ):
        after = word_at(norms, end + 1)
        if "clock" in (after, word_at(norms, end + 2)):
            return None  # "the 12 o' clock position"
        threaded = _thread_follows(norms, end + 1) or (start > 0 and norms[start - 1] in THREAD)
        if threaded or (norms[end] != "0" and norms[end] != "zero" and not _number_like(after)):
            return Quantity(form="suture", text=f"{number}-0"), end + 1
        return None
    marked = start
    if norm.startswith("#") and norm[1:].isdigit():
        size: str | None = norm[1:]
    elif norm in ("number", "size", "#", "no.") and marked + 1 < len(norms):
        marked, end = start + 1, start + 2
        size = "0" if norms[marked] in numerals.ZERO else _text(small(norms, marked))
    else:
        size = "0" if norm in numerals.ZERO or norm == "0" else _text(number)
    if size is None or len(size) > 2 or not _thread_follows(norms, end):
        return None
    if marked == start and not norm.startswith("#") and size not in ("0", "1", "2", "5"):
        return None
    if marked == start and size != "0" and not norm.startswith("#") and not _material_next(norms, end):
        return None  # "two running sutures" counts them
    if marked == start and norm.isalpha() and word_at(norms, end + 1) in _TO_EACH:
        return None  # "four portals two nylon each"
    return Quantity(form="suture", text=size), end


_TO_EACH = ("each", "apiece", "per")
_NOUNS = frozenset(
    "suture sutures stitch stitches tie ties ligature ligatures wire monofilament braided absorbable nonabsorbable "
    "undyed dyed steel".split()
)


_MATERIALS = THREAD - _NOUNS


def _material_next(norms: Sequence[str], index: int) -> bool:
    """ "1 Vicryl" is a size; "two sutures" and "2 Vicryl sutures" count."""
    index += word_at(norms, index) in ("j", "loop", "looped")  # "1 J PDS": on a needle of that shape
    if word_at(norms, index) == "v" and word_at(norms, index + 1) in ("loc", "lock"):
        return True
    if word_at(norms, index) not in _MATERIALS:
        return False
    return not any(word_at(norms, at) in ("sutures", "stitches", "ties") for at in (index + 1, index + 2))


def _text(number: int | None) -> str | None:
    return None if number is None else str(number)


def _number_like(norm: str) -> bool:
    return bool(norm) and (norm[0].isdigit() or norm in numerals.SMALL or norm in numerals.TENS or norm in numerals.ZERO
                           or norm == "point" or is_unit_like(norm) or norm in numerals.SCALES)  # fmt: skip


def _ratio(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "1:200,000", "one to two hundred thousand", "1 in 200,000": value = the second term."""
    match = _RATIO.match(norms[start])
    if match:
        left, right = match[1], Decimal(match[2].replace(",", ""))
        end = start + 1
        right = right * 1000 if match[3] else right  # "1:100k"
        while match[2].isdigit() and word_at(norms, end) == "000":
            right, end = right * 1000, end + 1
        if left == "1":
            return Quantity(value=right, dimension="ratio", form="ratio", text=f"1:{right}"), end
        return Quantity(dimension="ratio", form="ratio", text=f"{left}:{right}"), end
    if norms[start] == "1" and word_at(norms, start + 1) == ":":  # "1: 200,000"
        second = word_at(norms, start + 2).replace(",", "")
        if second.isdigit() and len(second) >= 4:
            return Quantity(value=Decimal(second), dimension="ratio", form="ratio", text=f"1:{second}"), start + 3
    if norms[start] not in ("one", "1") or word_at(norms, start + 1) not in ("to", "in"):
        return None
    joint, begin = norms[start + 1], start + 2
    if begin >= len(norms):
        return None
    numeral = numerals.read(norms, begin)
    if numeral is not None and "thousand" in norms[begin : numeral.end - 1]:
        # "one to two hundred thousand ten millilitres": what is behind the thousands is another number
        numeral = numerals.read(norms[: norms.index("thousand", begin) + 1], begin)
    if numeral is None or numeral.value is None or numeral.value != int(numeral.value):
        return None
    value = numeral.value
    near = any(norm in _DILUTED for norm in norms[max(0, start - 8) : numeral.end + 8])
    if value >= 10_000 or (value >= 1000 and (near or joint == "in")) or (near and joint == "in" and value >= 2):
        behind = word_at(norms, numeral.end)
        if is_unit_like(behind) or behind in ("units", "minutes", "hours", "days"):
            return None
        return Quantity(value=value, dimension="ratio", form="ratio", text=f"1:{value}"), numeral.end
    return None


def _size(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """Gauze "4x4s", "four by fours", "4 x 4": text "4x4"."""
    match = _SIZE.match(norms[start])
    if match and (match[1] == match[2] or norms[start].endswith("s") or (match[1], match[2]) == ("4", "8")):
        if is_unit_like(word_at(norms, start + 1)):
            return None
        return Quantity(form="size", text=f"{match[1]}x{match[2]}"), start + 1
    first = small(norms, start)
    if first is None or word_at(norms, start + 1) not in ("x", "by", "×"):
        return None
    last = word_at(norms, start + 2)
    bare = re.sub(r"(?<=.)'?e?s$", "", last) if last not in numerals.SMALL else last
    second = int(bare) if bare.isdigit() else numerals.SMALL.get(bare) or numerals.SMALL.get(f"{bare}e")
    if second != first or first not in (2, 3, 4, 8) or _number_like(word_at(norms, start + 3)):
        return None
    if last == bare and not word_at(norms, start + 3).startswith(("gauze", "sponge", "pad", "dressing", "swab")):
        following = word_at(norms, start + 3)
        if following and following not in (",", ".", ";", "and"):
            return None
        if not any(word in ("gauze", "dressing", "dressed", "sterile", "dressings", "adaptic", "xeroform")
                   for word in norms[max(0, start - 8) : start + 8]):  # fmt: skip
            return None
    return Quantity(form="size", text=f"{first}x{first}"), start + 3


HIGHEST_ASA = 6  # classes of the American Society of Anesthesiologists: I to VI


_NEXT_SIZES = range(6, 25)  # of what is named behind them: an insert, a liner, a head


def _label(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """A number that names and does not count: "#15", "number fifteen blade", "zone 2", "grade 3", "a ten blade"."""
    norm, begin = norms[start], start
    before = word_at(norms, start - 1)
    marked = before in LABELS and codes.rings(norms, start - 1)
    marked = marked or (before == "or" and tokens[start - 1].text == "OR" and norm.isdigit())
    if before == "asa" and norm.isdigit() and int(norm) > HIGHEST_ASA:
        return None  # acetylsalicylic acid, in milligrams
    if norm.startswith("#") and len(norm) > 1:
        value = written(norm[1:])
        if value is None:
            return None
        said = read_unit(tokens, start + 1, True)
        if said is not None and said.dimension in ("gauge", "french", "length"):
            words = " ".join(token.text for token in tokens[said.start : said.end])
            return Quantity(value=value, unit=said.ucum, said_unit=words, dimension=said.dimension), said.end
        return Quantity(value=value, form="label", text=norm[1:]), start + 1
    if norm in ("number", "#", "no.") and start + 1 < len(norms):
        begin, marked = start + 1, True
        if not _number_like(norms[begin]):
            return None
    if not marked and _BLADES.isdisjoint(norms[begin:]):
        return None
    numeral = numerals.read(norms, begin) if norms[begin] not in ("a", "an", "half", "quarter", "point") else None
    if numeral is None or numeral.value is None or numeral.shape == "fraction":
        lettered = _LETTERED.match(norm)
        if lettered and marked:
            return Quantity(value=Decimal(lettered[1]), form="label", text=norm.upper()), start + 1
        return None
    after = word_at(norms, numeral.end)
    if not marked and after not in _BLADES:
        return None
    if after in ("by", "x") and before != "size" and numeral.spoken and numeral.end - begin > 1 and (
        (grade := numerals.SMALL.get(norms[begin])) is not None and (len(numeral.digits) == 2 or grade <= _WORST)
    ):  # "outerbridge three eight by ten millimetres", "grade three twelve by eight"
        return Quantity(value=Decimal(grade), form="label", text=str(grade)), begin + 1
    said = read_unit(tokens, numeral.end, True)
    if said is not None and before == "size" and numeral.spoken and numeral.shape == "digits" and (
        numeral.end - begin == 2
    ):  # "block size four three degrees outward"
        return Quantity(value=Decimal(numeral.digits[0]), form="label", text=numeral.digits[0]), begin + 1
    if said is not None and (len(tokens[said.start].text) > 1 or after in ("h", "g", "l")):
        return None
    digit = numerals.SMALL.get(norms[begin], 0) if before == "size" and numeral.end - begin == 2 else 0
    if 0 < digit < 10 and numeral.value - digit * 100 in _NEXT_SIZES and after.isalpha():
        return Quantity(value=Decimal(digit), form="label", text=str(digit)), begin + 1  # "tray size three ten insert"
    text = numeral.digits or str(numeral.value)
    end = numeral.end
    if before in _GRADED and after in ("to", "or", "-") and end + 1 < len(norms):
        other = numerals.read(norms, end + 1)
        if other is not None and other.value is not None and other.value > numeral.value:
            if not is_unit_like(word_at(norms, other.end)):
                return Quantity(
                    low=numeral.value, high=other.value, form="label", text=f"{text}-{other.value}"
                ), other.end
    run = before == "size" and numeral.shape == "digits" and numeral.spoken and numeral.end - begin > 1
    doubts = (f"read as {text} from single digits",) if run else ()  # "size four two screws" may be two of size four
    return Quantity(value=numeral.value, form="label", text=text, doubts=doubts), end


def _roman(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """Grades in Roman numerals, after a word that grades: "grade III", "type II to III", "cranial nerve VII"."""
    token = tokens[start]
    graded = word_at(norms, start - 1) in _GRADED or (start and tokens[start - 1].text == "WHO")
    if not graded or not (token.text.isupper() or len(token.text) > 1):
        return None
    value, end = Decimal(numerals.ROMAN[norms[start]]), start + 1
    at = end + (word_at(norms, end) in ("to", "or", "-", "/"))
    glued = at > end or (at < len(tokens) and tokens[at].first == token.first)
    high = numerals.ROMAN.get(word_at(norms, at), 0)
    if glued and high > value and tokens[at].text.isupper() == token.text.isupper():
        text = f"{token.text.upper()}-{tokens[at].text.upper()}"
        return Quantity(low=value, high=Decimal(high), form="roman", text=text), at + 1
    return Quantity(value=value, form="roman", text=token.text.upper()), end


def _times(tokens: Sequence[Token], norms: Sequence[str], start: int) -> Found | None:
    """ "times two", "x2": how often. Not after a number ("5 times")."""
    if start + 1 >= len(norms) or (start and _number_like(norms[start - 1])):
        return None
    numeral = numerals.read(norms, start + 1)
    if numeral is None or numeral.value is None or numeral.value != int(numeral.value) or numeral.shape == "fraction":
        return None
    if norms[start] == "x" and read_unit(tokens, numeral.end, True) is not None:
        return None  # "x 48 hours", "5 x 3 cm"
    once = numerals.SMALL.get(norms[start + 1], 0)
    if once and numeral.value > 9 and numeral.end == start + 3 and numerals.SMALL.get(norms[start + 2], 0):
        return Quantity(value=Decimal(once), form="times", text=str(once)), start + 2  # "times four two units of ..."
    return Quantity(value=numeral.value, form="times", text=str(numeral.value)), numeral.end


# In this order the more particular comes first. Times as recognisers write them are no words.
_SPOKEN = (_tube, date, clock_face, clock, day_times.read, _suture, _ratio, _size, _label)
_WRITTEN = (date, clock_face, clock, four_digits.read, day_times.read, heard_clock, _suture, _ratio, _size, _label)
