"""Irrigation: as an act, what ran in, what came back, and the deficit."""

from __future__ import annotations

from pipeline import cues
from pipeline.extractors import _account_parts, _in_out_rows, _washes, base
from pipeline.extractors._in_out_rows import DIRECTIONS, TO
from pipeline.grammar import Grammar
from pipeline.records import Fact, Quantity, Reading, Sentence

KINDS = ("irrigation", "irrigation_in", "irrigation_out", "irrigation_deficit")

_WORDS = ("irrigation", "irrigation-out", "deficit")
_REACH = 60
_OWN = -1  # before any other claim
_LEADS = DIRECTIONS | {
    "irrigation": "irrigation_in", "irrigated": "irrigation_in", "inflow": "irrigation_in", "fluid": "irrigation_in",
    "outflow": "irrigation_out", "deficit": "irrigation_deficit",
}  # fmt: skip
_KIND = {"irrigation": "irrigation_in", "irrigation-out": "irrigation_out", "deficit": "irrigation_deficit"}


def extract(reading: Reading, grammar: Grammar) -> list[Fact]:
    facts: list[Fact] = []
    rinsed = False  # whether the sentence before told of volumes that rinsed
    for sentence in reading.sentences:
        cue = cues.hits(sentence, grammar, "irrigation")
        if not cue and not cues.numbers(sentence):
            rinsed = False
            continue
        facts += _unsaid(reading, sentence, grammar) if not cue else []
        facts += _sum(reading, sentence, grammar) if rinsed and not cue else []
        facts += _in_and_out(reading, sentence, grammar, rinsed) if not cue else []
        facts += _pumped(reading, sentence, grammar) if not cue and cues.has(sentence, grammar, "pump") else []
        facts += _ran(reading, sentence, grammar) if not cue and sentence.says(_RUNS) else []
        rinsed = any(_rinses(sentence, hit) for hit in cue) and any(True for _ in base.quantities(sentence, "volume"))
        if not cue and not cues.has(sentence, grammar, "deficit", "distension"):
            continue
        for index, _ in base.quantities(sentence, "volume"):
            facts += _volume(reading, sentence, grammar, index)
        for index, quantity in base.quantities(sentence, ""):
            if quantity.form == "number" and cues.unit_of(sentence, index) is quantity:
                facts += _bare(reading, sentence, grammar, index)
        acts = [hit for hit in cue if _rinses(sentence, hit)]
        if acts:
            facts.append(
                base.make("irrigation", reading, sentence, acts[0].first, acts[0].last, name=_name(sentence))
            )
    return facts


def _sum(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Six litres altogether", right after the volumes that rinsed."""
    if any(True for _ in base.mentions(sentence, "drugs", "fluids", "injectates")):
        return []
    facts: list[Fact] = []
    for index, _ in base.quantities(sentence, "volume"):
        total = cues.nearest(sentence, grammar, index, "total")
        if total is not None and total[0] <= _SUM and not cues.has(sentence, grammar, "blood-loss", "urine"):
            facts.append(base.claim("irrigation_in", reading, sentence, index, total[1].first, total[1].last,
                                    total[0], scale="total"))  # fmt: skip
    return facts


def _in_and_out(reading: Reading, sentence: Sentence, grammar: Grammar, rinsed: bool) -> list[Fact]:
    """ "Nine litres in, eight point two out", "in 6 L, out 5.8 L": so much runs through a joint or a bladder; what it
    was stays in doubt. One alone counts beside a pump, or right behind volumes that rinsed."""
    if not sentence.says(TO) or sentence.section == "fluids" or cues.has(sentence, grammar, "urine", "blood-loss"):
        return []
    told = [(index, kind) for index, quantity in base.quantities(sentence, "volume", "")
            if quantity.form == "number" and (kind := _way(sentence, index)) is not None]  # fmt: skip
    if row := _in_out_rows.led(sentence):
        told = [(index, kind) for index, kind in told if index in row]
    units = {amount.unit for at, _ in told if (amount := sentence.tokens[at].quantity) is not None}
    kinds = [kind for _, kind in told]
    alone = len(kinds) == 1 and (rinsed or cues.has(sentence, grammar, "pump"))
    ran = sentence.says(_RUN)  # "saline in 4200 mL, out 3900 mL"
    much = "L" in units or (ran and "mL" in units) or (ran and units == {None} and all(
        (amount := sentence.tokens[at].quantity) is not None and (amount.value or 0) >= _MUCH for at, _ in told
    ))  # fmt: skip
    if not (alone or kinds == ["irrigation_in", "irrigation_out"]) or not much or len(units - {None}) > 1:
        return []
    short = [] if alone else [index for index, _ in base.quantities(sentence, "volume")
                              if index > told[-1][0] and _behind(sentence, index)[:1] == ["short"]]  # fmt: skip
    told += [(index, "irrigation_deficit") for index in short]
    doubts = () if rinsed or short or ran else ("what ran in and out was not said",)  # only what rinses can be short
    return [base.claim(kind, reading, sentence, at, at, at, 4, doubts=doubts) for at, kind in told]


def _way(sentence: Sentence, index: int) -> str | None:
    """Whether a number is said to have run in or to have come out: by the word behind it, else by the one before."""
    tokens, behind = sentence.tokens, _behind(sentence, index)
    if (told := _in_out_rows.led(sentence).get(index)) is not None:
        return told[0]
    if behind[:1] == ["of"] and len(behind) == 3:
        behind = behind[2:]  # "twelve litres of saline in"
    if behind and behind[0] in TO and (len(behind) == 1 or behind[1] not in _GO_ON):
        return DIRECTIONS[behind[0]]
    before = tokens[index - 1].norm if index else ""
    led = index == 1 or tokens[max(0, index - 2)].punctuation or tokens[max(0, index - 2)].norm in _RUN
    if not behind and before in ("in", "out") and led:
        return DIRECTIONS[before]
    return None


def _pumped(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Pump fifty, eight litres": litres beside a pump that no vein took."""
    if sentence.section == "fluids" or cues.has(sentence, grammar, "urine", "blood-loss", "intravenous-fluid"):
        return []
    doubts = ("that it ran through the pump was not said",)
    return [
        base.claim("irrigation_in", reading, sentence, index, index, index, _PUMPED, doubts=doubts)
        for index, quantity in base.quantities(sentence, "volume") if quantity.unit == "L" and quantity.form == "number"
    ]  # fmt: skip


def _ran(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Four litres went in", "we've used nine litres", "pumped in three and a half litres": litres told by the verb
    alone, where no vein, fluid or drug is named. What they were stays in doubt."""
    other = any(True for _ in base.mentions(sentence, "fluids", "drugs", "drains", "specimens", "injectates"))
    vein = cues.has(sentence, grammar, "intravenous-fluid", "urine", "blood-loss") or sentence.says(_VEIN)
    if other or vein or sentence.section in ("fluids", "aftercare", "history"):
        return []
    tokens = sentence.tokens
    facts: list[Fact] = []
    for index, quantity in base.quantities(sentence, "volume"):
        if quantity.unit != "L" or quantity.form != "number":
            continue
        behind, at = _behind(sentence, index), index - 1
        while at > max(0, index - _VERB_NEAR) and tokens[at].norm in _MODEST:
            at -= 1
        before = tokens[at].norm if at >= 0 else ""
        led = before in _USED or (before == "in" and at > 0 and tokens[at - 1].norm in _PUSHED)
        ran = bool(_RUNS & set(behind[:3]) and {"in", "through", "used"} & set(behind))
        if led or ran or behind[:1] == ["through"]:
            facts.append(base.claim("irrigation_in", reading, sentence, index, index, index, _PUMPED,
                                    doubts=("what ran in was not said",)))  # fmt: skip
    return facts


_VEIN = frozenset({"drip", "cannula", "vein", "line", "venflon"})
_PUSHED = frozenset({"pumped", "ran", "pushed", "put", "run"})
_USED = frozenset({"used", "through"})
_RUNS = _PUSHED | _USED | {"went", "gone", "go"}
_MODEST = frozenset({"about", "roughly", "around", "some", "a", "good", "nearly", "almost", "over", "just", "maybe"})
_VERB_NEAR = 4  # tokens
_RUN = frozenset({"saline", "glycine", "sorbitol"})
_PUMPED = 50
_GO_ON = frozenset("the a an all both total each this his her theatre recovery bags saline one of which from".split())
_SUM = 12
_GASES = frozenset({"gas", "air", "oxygen", "c3f8", "sf6"})
_SUBJECT = 5  # tokens
_LINES = frozenset("sheath sheaths catheter catheters line lines port cannula dilator needle tubing manifold".split())
_SKIN = frozenset({"alcohol", "shaved", "scrubbed", "painted"})


def _rinses(sentence: Sentence, hit: cues.Hit) -> bool:
    """Whether a word of irrigation tells that something was rinsed: not "free fluid in the abdomen", not the skin
    before the operation ("rinsed with alcohol"), not gas that was flushed through an eye."""
    norms = {token.norm for token in sentence.tokens}
    said = sentence.tokens[hit.first].norm
    if said in ("fluid", "inflow") and not any(True for _ in base.quantities(sentence)):
        return False
    own = said in ("rinsed", "washed") and (norms & _SKIN or _washes.of_product(sentence, hit.first))
    if own or _washes.by_the_patient(sentence, hit.first):
        return False
    before = {token.norm for token in sentence.tokens[max(0, hit.first - _SUBJECT) : hit.first]}
    return not (said == "flushed" and (norms & _GASES or before & _LINES))


def _name(sentence: Sentence) -> str | None:
    return next((mention.id for mention in base.mentions(sentence, "irrigation")), None)


def _unsaid(reading: Reading, sentence: Sentence, grammar: Grammar) -> list[Fact]:
    """ "Four litres of warm saline": litres that no vein took. Warm or sterile says rinsing; else it stays in doubt."""
    if sentence.section == "fluids" or cues.has(sentence, grammar, "deficit"):
        return []
    facts: list[Fact] = []
    for mention in base.mentions(sentence, "fluids", "irrigation"):
        in_joint = _washes.in_joint(sentence, mention.first, mention.last)
        if mention.id not in ("saline", "water") and not in_joint:
            continue
        for index, quantity in base.quantities(sentence, "volume"):
            price = cues.cost(sentence, index, mention.first, mention.last)
            near = {token.norm for token in sentence.tokens[max(0, mention.first - 3) : mention.last + 1]}
            if price > 12 or quantity.unit != "L" or _infused(sentence, grammar, index, mention.last):
                continue
            sure = in_joint or bool(near & {"warm", "warmed", "sterile", "antibiotic"})
            doubts = () if sure else ("whether it rinsed or was infused was not said",)
            facts.append(
                base.claim("irrigation_in", reading, sentence, index, mention.first, mention.last, price + 2,
                           doubts=doubts)
            )  # fmt: skip
    return facts


def _infused(sentence: Sentence, grammar: Grammar, first: int, last: int) -> bool:
    told = cues.around(sentence, grammar, first, last, "intravenous-fluid", "given", "injected")
    if told == {"given"}:  # "six bags of saline were used": for what was not said
        return any(sentence.tokens[hit.last].norm != "used" for hit in cues.hits(sentence, grammar, "given"))
    return bool(told)


# "Nine litres ran in, eight point two came back", "of which 500 mL was returned"
_CAME_BACK = frozenset({"back", "returned", "recovered", "retrieved", "recollected", "outflow"})
_CAME_OUT = frozenset("came come ran sucked suctioned suction drained aspirated taken collected again".split())
_NOT = frozenset({"not", "never"})  # "500 mL not recovered"
_TO_VERB = 4  # tokens


def _is_back(behind: list[str]) -> bool:
    """ "Nine hundred and fifty came out again", "nearly all of it sucked out"."""
    return bool(_CAME_BACK & set(behind) or ("out" in behind and _CAME_OUT & set(behind)))


def _behind(sentence: Sentence, index: int) -> list[str]:
    """The words right behind the number at `index`, up to a mark, another number or the next part."""
    found: list[str] = []
    for token in sentence.tokens[index + 1 : index + 1 + _TO_VERB]:
        if token.punctuation or token.quantity is not None or token.norm in ("and", "then", "but", "with", "/"):
            break
        found.append(token.norm)
    return found


def _deficit(sentence: Sentence, grammar: Grammar, index: int) -> cues.Hit | None:
    """The "deficit" that leads to the number with nothing of its own between ("a fluid deficit of three litres")."""
    return next((
        hit for hit in cues.hits(sentence, grammar, "deficit")
        if 0 <= index - hit.last - 1 <= 3
        and all(token.norm in _TO_NUMBER for token in sentence.tokens[hit.last + 1 : index])
    ), None)  # fmt: skip


_TO_NUMBER = frozenset({"of", "was", "is", ":", "=", "a", "the", "at", "about", "around", "so", "total", "came", "to"})


def _is_tally(sentence: Sentence, index: int) -> bool:
    """Whether as many went in as came out, said without any unit."""
    told = [(token.quantity, sentence.tokens[at + 1].norm) for at, token in enumerate(sentence.tokens[:-1])
            if token.quantity is not None and token.quantity.unit is None]  # fmt: skip
    own = sentence.tokens[index].quantity
    return own is not None and {way for one, way in told if one.value == own.value} >= {"in", "out"}


def _bare(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    """ "Irrigation in 3000, out 2800 mL": the unit of the first was not said."""
    tokens = sentence.tokens
    if (told := _in_out_rows.led(sentence).get(index)) is not None:
        return [base.claim(told[0], reading, sentence, index, told[1], told[1], _OWN)]
    lead = _deficit(sentence, grammar, index)
    if lead is not None:
        return [base.claim("irrigation_deficit", reading, sentence, index, lead.first, lead.last, 2)]
    behind = _behind(sentence, index)
    rest = tokens[index + 1 + len(behind) : index + 2 + len(behind)]
    if behind[:1] == ["deficit"] and sum(True for _ in base.quantities(sentence)) > 1:
        return [base.claim("irrigation_deficit", reading, sentence, index, index, index + 1, 2)]
    chained = index > 1 and tokens[index - 1].norm in DIRECTIONS and tokens[index - 2].quantity is not None
    if chained and behind[:1] and behind[0] in DIRECTIONS:  # "eighteen litres in seventeen point two out"
        return [base.claim(DIRECTIONS[behind[0]], reading, sentence, index, index, index + 1, 2)]
    if behind in (["in"], ["out"]) and _is_tally(sentence, index):
        return []  # "three sponges, counted (3 in, 3 out)": of things
    if behind in (["in"], ["out"]) and (not rest or rest[0].punctuation or rest[0].norm == "and"):
        kind = "irrigation_in" if behind == ["in"] else "irrigation_out"
        return [base.claim(kind, reading, sentence, index, index, index + 1, 2)]
    paired = [token.norm for token in tokens[max(0, index - 2) : index]] in (["in", "and"], ["in", ","])
    if behind[:1] == ["out"] and (paired or behind[1:2] == ["deficit"]):  # "eighteen litres in and seventeen out"
        return [base.claim("irrigation_out", reading, sentence, index, index, index + 1, 2)]
    if _is_back(behind):
        kind = "irrigation_deficit" if _NOT & set(behind) else "irrigation_out"
        return [base.claim(kind, reading, sentence, index, index, index + len(behind), 2)]
    before = tokens[index - 1].norm if index else ""
    if before == ":" and index > 1:
        before = tokens[index - 2].norm
    ends = index + 1 == len(tokens) or tokens[index + 1].punctuation or tokens[index + 1].norm in ("and", "out", "in")
    if before not in ("in", "out", "inflow", "outflow") or not ends:
        return []
    kind = "irrigation_in" if before in ("in", "inflow") else "irrigation_out"
    return [base.claim(kind, reading, sentence, index, index - 1, index - 1, 2)]


def _volume(reading: Reading, sentence: Sentence, grammar: Grammar, index: int) -> list[Fact]:
    tokens = sentence.tokens
    after = tokens[index + 1].norm if index + 1 < len(tokens) else ""
    if after == "in" and index + 2 < len(tokens) and tokens[index + 2].norm in _GO_ON:
        after = ""  # "fifteen mils in all"
    before = tokens[index - 1].norm if index else ""
    own = tokens[index].quantity
    much = own is not None and (own.unit == "L" or (own.unit == "mL" and (own.value or 0) >= _MUCH))
    if before == "with" and much and after != "of" and tokens[max(0, index - 2)].norm in _WASHED:
        return [base.claim("irrigation_in", reading, sentence, index, index - 2, index - 2, _DRUG_BEHIND)]
    said = _behind(sentence, index)
    if said[:1] == ["of"] and said[2:] in (["in"], ["out"]):  # "eighteen litres of saline in and seventeen out"
        return [base.claim(DIRECTIONS[said[2]], reading, sentence, index, index, index + 3, 0)]
    if (told := _in_out_rows.led(sentence).get(index)) is not None:
        return [base.claim(told[0], reading, sentence, index, told[1], told[1], _OWN)]
    if before == "out" and index > 1 and tokens[index - 2].norm in _WASHED:
        before = ""  # "washed out six litres": what it was washed with
    further = tokens[index + 2].quantity if index + 2 < len(tokens) else None
    if before in _LEADS and after in _LEADS and further is not None and further.dimension == "volume":
        return [base.claim(_LEADS[before], reading, sentence, index, index - 1, index - 1, _OWN)]  # each leads its own
    if {after, before, *said[:2]} & {"in", "back"} and _is_product(reading, grammar, tokens[index].quantity):
        return []  # "flushed with three of saline, six in": of what was given
    if before in ("balloon", "cuff") or cues.fills_balloon(sentence, index):
        return []  # "balloon thirty mils irrigation running": what blocks the catheter
    drug = tokens[index - 2].quantity if before == "in" and index > 1 else None
    if drug is not None and drug.dimension in ("mass", "amount", "catalytic"):
        return []  # "mitomycin forty milligrams in forty millilitres"
    if after in DIRECTIONS or (before in DIRECTIONS and after in ("", ",", ".", ";")):
        at, kind = (index + 1, DIRECTIONS[after]) if after in DIRECTIONS else (index - 1, DIRECTIONS[before])
        return [base.claim(kind, reading, sentence, index, at, at, 0)]
    lead = _deficit(sentence, grammar, index)
    if lead is not None:  # also before the fluid that it is of
        return [base.claim("irrigation_deficit", reading, sentence, index, lead.first, lead.last, _OWN)]
    behind = _behind(sentence, index)
    if _CAME_BACK & set(behind) and "all" in behind:  # "washed with a litre and a half, all back": in, and out again
        led = [hit for hit in cues.hits(sentence, grammar, "irrigation") if 0 < index - hit.last <= 3]
        if led:
            return [base.claim("irrigation_in", reading, sentence, index, led[-1].first, led[-1].last, 0)]
    if _is_back(behind):
        kind = "irrigation_deficit" if _NOT & set(behind) else "irrigation_out"
        return [base.claim(kind, reading, sentence, index, index, index + len(behind), 0)]
    near = cues.nearest(sentence, grammar, index, *_WORDS)
    if near is not None and near[1].id == "deficit" and any(
        token.norm in ("no", "without", "nil") for token in sentence.tokens[max(0, near[1].first - 2) : near[1].first]
    ):
        near = cues.nearest(sentence, grammar, index, "irrigation", "irrigation-out")  # "18 L, no deficit"
    if near is not None and near[1].id != "irrigation" and any(
        near[1].last < drug.first < index for drug in base.mentions(sentence, "drugs")
    ):
        near = None  # "three hundred mils missing ropivacaine 0.2 percent ten millilitres"
    if near is not None and near[1].id == "irrigation-out" and _parted(sentence, index, near[1]):
        near = cues.nearest(sentence, grammar, index, "irrigation", "deficit")  # "100 mL in, 40 mL returned"
    if near is None or near[0] > _REACH:
        return []
    price, hit = near
    if _washes.of_product(sentence, hit.first) or _has_its_own(sentence, index, hit):
        return []
    bags = _bags(sentence, index)
    doubts = (f"{bags} of so much were said",) if bags else ()
    if _KIND[hit.id] == "irrigation_in" and _as_came_out(sentence, index):
        doubts = ("as much as came out; that so much was run in was not said",)
    return [base.claim(_KIND[hit.id], reading, sentence, index, hit.first, hit.last, price,
                       scale="each" if bags else None, doubts=doubts)]  # fmt: skip


def _as_came_out(sentence: Sentence, index: int) -> bool:
    """ "Ninety mils of fluid out so ninety mils washed": worked out from what came out."""
    tokens, own = sentence.tokens, sentence.tokens[index].quantity
    led = {token.norm for token in tokens[max(0, index - 3) : index]} & {"so", "therefore", "hence"}
    return bool(led) and own is not None and any(
        one.value == own.value and one.unit == own.unit and _COME & set(_behind(sentence, at))
        for at, one in base.quantities(sentence, "volume") if at < index
    )


_COME = frozenset({"out", "back", "came"})


def _is_product(reading: Reading, grammar: Grammar, quantity: Quantity | None) -> bool:
    """Whether so little may be of the blood, marrow or fat that the narration is about."""
    small = quantity is not None and quantity.unit == "mL" and (quantity.value or _MOST_GIVEN) < _MOST_GIVEN
    return small and _account_parts.is_told(reading, grammar)


_MOST_GIVEN = 50  # mL
_MUCH, _DRUG_BEHIND = 100, -3  # mL; no drug that is named next is given so much of
_WASHED = frozenset({"washed", "wash", "washing", "rinsed", "rinse", "flushed", "flush", "lavaged", "irrigated"})


def _bags(sentence: Sentence, index: int) -> str:
    """ "Twelve bags of three litres": the count with its noun, "" where the amount is the whole."""
    tokens = sentence.tokens
    if index < 3 or tokens[index - 1].norm != "of" or tokens[index - 2].norm not in _BAGS:
        return ""
    count = tokens[index - 3].quantity
    if count is None or count.dimension or (count.value or 0) < 2:
        return ""
    return f"{tokens[index - 3].text} {tokens[index - 2].text}"


_BAGS = frozenset({"bags", "bottles", "sachets", "containers"})


def _has_its_own(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """ "... makes 30 mL tourniquet down irrigation 3 L in all": a word with a volume right behind it takes none from
    before another thing."""
    behind = sentence.tokens[hit.last + 1 : hit.last + 3]
    volume = any(token.quantity is not None and token.quantity.dimension == "volume" for token in behind)
    leads = index + 1 < len(sentence.tokens) and sentence.tokens[index + 1].norm == "of"
    return index < hit.first - 2 and volume and not leads and not any(token.punctuation for token in behind)


def _parted(sentence: Sentence, index: int, hit: cues.Hit) -> bool:
    """Whether another volume stands between a number and a word, and so takes it."""
    low, high = min(index, hit.last), max(index, hit.first)
    return any(
        token.quantity is not None and token.quantity.dimension == "volume" for token in sentence.tokens[low + 1 : high]
    )
