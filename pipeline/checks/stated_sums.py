"""Sums that are said in one breath, whether or not an entry of the note holds their numbers.

"Clamp on 09:06, off 09:44, 38 min", "right lobe 45 g, left lobe 32 g, together 77 g", "5 mL x 6 = 30 mL", "20 mL, 4 mL
at each of 5 levels", "specimens: toe, pus, bone (3)". Read from the sentences themselves.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise

from pipeline.checks import _clock_spans, _counted_draws, _gains, _more_sums, _running, _stated_more, _told_sums
from pipeline.checks._spoken_counts import count
from pipeline.checks.base import amount, finding, placed, plain, read
from pipeline.conversion import convert
from pipeline.grammar import Grammar
from pipeline.note import OperativeNote, Passage
from pipeline.records import Fact, Finding, Quantity, Token
from pipeline.rows import Drug
from pipeline.timespan import minutes_between

MEANING = "Two times, amounts or shares said in one breath do not come to the length of time or the sum said with them."


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_TO = _words(
    "to - – until till up down off on end ended from at , and through start finish out released inflated deflated "
    "finished started closed closing closure done last stitch suture skin incision knife cut opened stopped began "
    "reperfusion reperfused perfused ice"
)
_SO = _words(
    ", ( : = so that is total for giving makes making or traction tourniquet clamp time ischemia ischaemia ischemic "
    "ischaemic warm cold cross bypass operation operating operative duration surgery a of the was which cuff in all "
    "it took lasted skin surgical op or altogether makes resection"
)
_OTHER_TIME = _words("before after later earlier ago apart between prior from previous")
_TIMES = _words("x times × *")
_MAKES = _words("= is makes making that total so ( , in all for")
_LEADS = _words("together total altogether = makes making sum tally")
_ENDS = _words("total altogether together")
_ENDS_BOTH = (["in", "total"], ["in", "all"], ["all", "told"], ["all", "up"], ["all", "together"])
_SUMMED = _words("mass volume amount catalytic fraction")
_SLACK = 2  # minutes: times of day are said to the minute
_CLOSE, _FAR = 5, 12  # tokens


def check(note: OperativeNote, grammar: Grammar) -> list[Finding]:
    found: list[Finding] = []
    start: str | None = None
    clocks: list[str] = []
    offs: list[Decimal] = []
    grams, lengths = list[Decimal](), list[Decimal]()
    carried: Sequence[Token] = ()
    for passage in note.sections.description:
        tokens = read(passage)
        if not any(token.quantity is not None for token in tokens):
            carried = ()
            continue
        lead, carried = carried, tokens[-_CARRIED:]
        since = [token for token in lead if not token.punctuation] if tokens[0].norm in _GOES_BACK else []
        lead = () if lead and lead[-1].punctuation else lead
        if sum(token.quantity is not None for token in (*(since or lead), *tokens)) > 1:
            doses = [fact.value for fact in note.of("medication_dose") if fact.unit is None and passage.holds(fact)]
            told = [*_spans(note, passage, tokens), *_whole(note, passage, tokens), *_packed(tokens),
                    *_products(tokens), *_sums(note, passage, tokens), *_shares(tokens), *_bracketed(tokens),
                    *_shifted(_clock_spans.told([*since, *tokens], clocks, _minutes), len(since)),
                    *_stated_more.from_start(tokens, start or _stated_more.cut_before(note, passage),
                                             _SO | {"finished", "closed", "skin"}, _minutes),
                    *_stated_more.both(tokens), *_more_sums.told(tokens, _in, _is_total),
                    *_in_a_row(note, passage, tokens, doses, lead),
                    *_stated_more.on_both(tokens, _is_total), *_running.told(tokens),
                    *_gains.told(tokens),
                    *_running.off(tokens, offs, _is_total),
                    *_stated_more.without_units(tokens, _is_total, doses), *_told_sums.told(tokens, _in),
                    *_told_sums.weights(tokens, grams),
                    *_told_sums.behind_a_clock(tokens, clocks, _minutes)]  # fmt: skip
            volumes = _of_doses(note, passage, grammar)
            told = [one for one in told if not _is_of_dose(tokens, one, volumes)]
        else:
            told = [*_bracketed(tokens), *_told_sums.bare_signs(tokens),
                    *_told_sums.in_total(tokens, clocks, lengths, _minutes)]  # fmt: skip
        starts = [time for at in range(len(tokens)) if (time := _stated_more.start_of(tokens, at))]
        start = starts[-1] if starts else start
        offs += _running.offs_of(tokens)
        grams += _told_sums.grams_of(tokens)
        lengths += [minutes for token in tokens if (minutes := _minutes(token.quantity)) is not None]
        clocks += _clock_spans.times_of(tokens)
        for index, arithmetic in dict(told).items():
            if _counted_draws.are_the_sum(note, passage, tokens[index].quantity):
                continue
            made = finding(
                "stated_sums", "warning",
                f"“{tokens[index].text}” was said; what was said with it comes to something else.",
                [fact for fact in note.facts if passage.holds(fact) and (one := tokens[index].quantity) is not None
                 and one.value is not None and (fact.value, fact.unit) == (one.value, one.unit)],
                arithmetic=arithmetic, ask="Say which is right.", about=f"w{passage.evidence.first + index}",
            )  # fmt: skip
            found.append(placed(made, passage.evidence))
    return found + _gains.volumes(note)


def _in_a_row(
    note: OperativeNote, passage: Passage, tokens: Sequence[Token], doses: Sequence[Decimal | None],
    lead: Sequence[Token],
) -> Iterator[tuple[int, str]]:
    """Parts and their sum, also those of `lead`, before a place where speech without marks was cut; the sum of draws is
    left to draw_total, which knows the draws of all sentences."""
    drawn = {(fact.value, fact.unit) for fact in note.of("harvest_total") if passage.holds(fact)}
    for index, arithmetic in _shifted(_stated_more.in_a_row([*lead, *tokens], _is_total, doses), len(lead)):
        quantity = tokens[index].quantity
        if quantity is None or len(note.of("draw")) < 2 or (quantity.value, quantity.unit) not in drawn:
            yield index, arithmetic


_CARRIED = 20  # tokens of a stream of speech before the place where it was cut
_GOES_BACK = frozenset({"that", "that's", "thats", "so", "makes", "which"})


def _shifted(told: Iterator[tuple[int, str]], lead: int) -> Iterator[tuple[int, str]]:
    """What was told of a sentence read with the `lead` tokens before it."""
    return ((at - lead, arithmetic) for at, arithmetic in told if at >= lead)


def _minutes(quantity: Quantity | None) -> Decimal | None:
    return _in(quantity, "min")


def _in(quantity: Quantity | None, unit: str | None) -> Decimal | None:
    """The exact value in a unit; None where it cannot be said."""
    if quantity is None or quantity.value is None or quantity.unit is None or unit is None or quantity.comparator:
        return None
    try:
        return convert(quantity.value, quantity.unit, unit)
    except ValueError:
        return None


def _spans(note: OperativeNote, passage: Passage, tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "08:34 to 09:21 (47 min)"; a tourniquet whose times are all entries is left to tourniquet_times."""
    clocks = [at for at, token in enumerate(tokens) if token.quantity is not None and token.quantity.form == "clock"]
    yield from _ahead(tokens, clocks)
    for first, second in pairwise(clocks):
        if second - first > _CLOSE or not {token.norm for token in tokens[first + 1 : second]} <= _TO:
            continue
        at = next((at for at in range(second + 1, min(second + 2 + _CLOSE, len(tokens)))
                   if tokens[at].norm not in _SO), None)  # fmt: skip
        minutes = _in(tokens[at].quantity, "min") if at is not None else None
        early, late = tokens[first].quantity, tokens[second].quantity
        if at is None or minutes is None or early is None or late is None:
            continue
        after = tokens[at + 1].norm if at + 1 < len(tokens) else ""
        lead = {token.norm for token in tokens[max(0, first - _CLOSE) : second]}
        if "bypass" in {token.norm for token in tokens[second + 1 : at]} and "clamp" in lead:
            continue  # "clamp on at 10:42 off at 11:37 bypass seventy four minutes"
        gap = minutes_between(early.text, late.text)
        if gap is None or after in _OTHER_TIME or abs(minutes - gap) <= _SLACK:
            continue
        if _clock_spans.of_all(tokens, clocks, minutes):
            continue
        if not _held_as_tourniquet(note, passage, minutes):
            yield at, f"{late.text} - {early.text} = {gap} min, said: {plain(minutes)} min"


def _ahead(tokens: Sequence[Token], clocks: Sequence[int]) -> Iterator[tuple[int, str]]:
    """ "Cold ischaemia 7 h 10 min (03:25-10:35)": the length right before the bracket with its times."""
    for first, second in pairwise(clocks):
        closed = [one.norm for one in tokens[second + 1 : second + 2]] == [")"]
        bracket = closed and tokens[max(0, first - 1)].norm == "("
        minutes = _in(tokens[first - 2].quantity, "min") if bracket and first > 1 else None
        early, late = tokens[first].quantity, tokens[second].quantity
        if minutes is None or early is None or late is None or not {
            one.norm for one in tokens[first + 1 : second]
        } <= _TO:
            continue
        gap = minutes_between(early.text, late.text)
        if gap is not None and abs(minutes - gap) > _SLACK:
            yield first - 2, f"{late.text} - {early.text} = {gap} min, said: {plain(minutes)} min"


def _whole(note: OperativeNote, passage: Passage, tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Incision 13:44. ... Finished 14:55, 71 minutes": the length of the operation behind its end."""
    times = {fact.name: fact for fact in note.of("clock_time", given=True) if fact.text}
    start = times.get("incision")
    ends = {fact.text for name, fact in times.items() if name in ("closure", "operation_end") and passage.holds(fact)}
    if start is None:
        return
    for at, token in enumerate(tokens[:-1]):
        if passage.holds(start) and passage.evidence.first + token.first - start.evidence.last <= _FAR:
            continue  # both in one breath: `_spans`
        if token.quantity is None or token.quantity.form != "clock" or token.quantity.text not in ends:
            continue
        after = next((place for place in range(at + 1, min(at + 2 + _CLOSE, len(tokens)))
                      if tokens[place].norm not in _SO), None)  # fmt: skip
        minutes = _in(tokens[after].quantity, "min") if after is not None else None
        gap = minutes_between(start.text or "", token.quantity.text)
        if after is None or minutes is None or gap is None or minutes < _SHORTEST or abs(minutes - gap) <= _ROUNDED:
            continue
        if minutes > _stated_more.MANY * gap:
            continue  # "skin 22:20, eleven hours and twenty minutes": of something else
        between = {one.norm for one in tokens[at + 1 : after]}
        behind = [one.norm for one in tokens[after + 1 : after + 4]]
        since = behind[:1] == ["from"] and bool(set(behind) & _STARTS)  # "two hours from the knife"
        if (set(behind[:1]) & _OTHER_TIME and not since) or between & _OTHER_SPAN:
            continue
        yield after, f"{token.quantity.text} - {start.text} = {gap} min, said: {plain(minutes)} min"


_OTHER_SPAN = _words("tourniquet clamp traction ischemia ischaemia bypass cuff warm cold")
_STARTS = _words("knife skin incision cut start first")
_SHORTEST, _ROUNDED = 5, 5  # minutes
_PACKS = _words("cartridges vials ampoules ampules syringes bags bottles packs boxes tubes carpules")


def _packed(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Four cartridges of 1.8 mL, 9.2 mL": more than there is in them."""
    for index, token in enumerate(tokens[:-3]):
        held = token.quantity
        packed = held is not None and (held.unit or "").startswith("{")  # "four cartridges" may be one token
        of = index + 1 if packed else index + 2
        number = held.value if packed and held is not None else count(token)
        if number is None or tokens[of].norm != "of" or not (packed or tokens[index + 1].norm in _PACKS):
            continue
        each = tokens[of + 1].quantity if of + 1 < len(tokens) else None
        if each is None or each.value is None or each.unit is None or each.dimension not in _SUMMED:
            continue
        for at in range(of + 2, min(of + 2 + _FAR, len(tokens))):
            said = _in(tokens[at].quantity, each.unit)
            if tokens[at].norm in (".", ";") or (said is None and count(tokens[at]) is not None):
                break
            if said is not None and said > each.value * number:
                product = f"{plain(Decimal(number))} x {amount(each.value, each.unit)}"
                worked = amount(each.value * number, each.unit)
                yield at, f"{product} = {worked}, said: {amount(said, each.unit)}"
                break


def _held_as_tourniquet(note: OperativeNote, passage: Passage, minutes: Decimal) -> bool:
    here = [fact for fact in note.facts if passage.holds(fact)]
    marks = {fact.name for fact in here if fact.kind == "clock_time"}
    return {"tourniquet_up", "tourniquet_down"} <= marks and any(
        fact.kind == "tourniquet_time" and fact.value == minutes for fact in here
    )


def _products(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "5 mL x 6 = 30 mL", "two packs of cement, forty grams each, eighty grams"."""
    for index, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None or quantity.dimension not in _SUMMED or quantity.value is None or index + 1 >= len(tokens):
            continue
        number: int | None = None
        at = index + 1
        if tokens[at].norm in _TIMES and at + 1 < len(tokens):
            number, at = count(tokens[at + 1]), at + 2
        elif [one.norm for one in tokens[at + 1 : at + 2]] == ["times"]:  # "six millilitres eight times"
            number, at = count(tokens[at]), at + 2
        elif tokens[at].norm == "twice":  # "fifty micrograms twice so a hundred"
            number, at = 2, at + 1
        elif tokens[at].norm == "each" and tokens[at + 1 : at + 2] and tokens[at + 1].norm != "of":
            counts = [one for near in tokens[max(0, index - 6) : index] if (one := count(near)) is not None]
            number, at = (counts[-1] if len(counts) == 1 else None), at + 1
        if number is None:
            continue
        links = 0
        while at < len(tokens) and tokens[at].norm in _MAKES and links < 4:
            at, links = at + 1, links + 1
        said = _in(tokens[at].quantity, quantity.unit) if at < len(tokens) else None
        if said is None and at < len(tokens) and (_is_total(tokens, at) or _stated_more.is_led(tokens, at)):
            said = _stated_more.bare(tokens[at])
        joined = links or tokens[at - 1].norm == "each"
        if said is not None and joined and said not in (quantity.value * number, quantity.value):
            worked = amount(quantity.value * number, quantity.unit)
            yield (
                at,
                f"{number} x {amount(quantity.value, quantity.unit)} = {worked}, said: {amount(said, quantity.unit)}",
            )


def _of_doses(note: OperativeNote, passage: Passage, grammar: Grammar) -> set[Decimal]:
    """The volumes, in mL, that drugs told by their dose alone have at the strengths they are sold in."""
    rows = grammar.table("drugs", Drug)
    found: set[Decimal] = set()
    for dose in note.of("medication_dose"):
        row = rows.get(dose.name or "")
        if row is None or dose.value is None or dose.unit != "mg" or not passage.holds(dose):
            continue
        for strength in row.strengths:
            number, unit = strength.split(" ", 1)
            if unit == "mg/mL":
                found.add(dose.value / Decimal(number))
    return found


def _is_of_dose(tokens: Sequence[Token], told: tuple[int, str], volumes: set[Decimal]) -> bool:
    """ "40 mg of kenalog + 5 mL of marcaine + 25 mL of saline = 31 mL": what is more is the volume of a drug of which
    only the dose was said."""
    quantity = tokens[told[0]].quantity
    parts = told[1].split(" = ")[0].split(" + ")
    if not volumes or quantity is None or quantity.value is None or quantity.unit != "mL":
        return False
    return all(part.replace(".", "", 1).isdigit() for part in parts) and (
        quantity.value - sum(Decimal(part) for part in parts) in volumes
    )


def _sums(note: OperativeNote, passage: Passage, tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "8 mL plus 5 mL allograft, 13 mL total": amounts that no entry of their own kind adds up."""
    for index, token in enumerate(tokens):
        quantity = token.quantity
        if quantity is None or quantity.dimension not in _SUMMED or not _is_total(tokens, index):
            continue
        parts: list[Decimal] = []
        each: list[Decimal] = []
        off: list[Decimal] = []
        last = index
        for at in range(index - 1, -1, -1):
            part = tokens[at].quantity
            if part is None:
                continue
            value = _in(part, quantity.unit)
            if value is None or last - at > _FAR or count(tokens[at]) is not None:
                break
            parts.append(value)
            each.append(value * _stated_more.times_two(tokens, at) * _stated_more.over(tokens, at))
            off += [value] if _stated_more.is_off(tokens, at) else []
            last = at
        if len(off) > 1:  # "eleven mL off, then forty mg in four mL, now twenty off, so thirty one": of what came off
            parts = each = off
        elif any(passage.holds(fact) and fact.kind != "measurement" and not _lone(note, fact) and (
            fact.value, fact.unit) == (quantity.value, quantity.unit) for fact in note.facts):  # fmt: skip
            continue  # its own kind adds it up
        said = quantity.value
        goes_on = [token.norm for token in tokens[index + 1 : index + 2]] in (["with"], ["including"], ["plus"])
        if said is None or len(parts) < 2 or said in parts or goes_on:
            continue
        if any(sum(own[:number]) == said for own in (parts, each) for number in range(2, len(parts) + 1)):
            continue
        parts = each
        worked = sum(parts, Decimal(0))
        yield index, (f"{' + '.join(plain(part) for part in reversed(parts))} = {amount(worked, quantity.unit)}, "
                      f"said: {amount(said, quantity.unit)}")  # fmt: skip


def _lone(note: OperativeNote, fact: Fact) -> bool:
    """Whether it is a total of fluids with fewer than two parts of its kind, so that nothing else adds it up: "saline
    4 L, albumin 500 mL, in total 4.5 L", where the saline may have rinsed."""
    parts = [one for one in note.of("fluid_in", given=True) if one.scale != "total"]
    return fact.kind == "fluid_in" and fact.scale == "total" and len(parts) < 2


def _is_total(tokens: Sequence[Token], index: int) -> bool:
    before = [token.norm for token in tokens[max(0, index - 2) : index]]
    after = [token.norm for token in tokens[index + 1 : index + 4]]
    ends = bool(after) and (after[0] in _ENDS or after[:2] in _ENDS_BOTH)
    comes = before[-1:] == ["to"] and bool({"comes", "come", "came", "adds", "up", "amounts"} & set(before))
    return comes or bool(_LEADS & set(before)) or (ends and after[:2] != ["together", "with"])


def _shares(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "20 mL of bupivacaine, 4 mL at each of 5 levels"."""
    volumes = [at for at, token in enumerate(tokens)
               if token.quantity is not None and token.quantity.dimension == "volume"]  # fmt: skip
    if len(volumes) != 2:
        return
    whole, share = volumes
    ahead = [token.norm for token in tokens[share + 1 : share + 4]]
    place = next((share + 1 + at for at, norm in enumerate(ahead) if norm == "each"), None)
    if place is None or [token.norm for token in tokens[place + 1 : place + 2]] != ["of"]:
        return
    number = next((one for token in tokens[place + 2 : place + 4] if (one := count(token)) is not None), None)
    part = tokens[share].quantity
    said = _in(tokens[whole].quantity, part.unit if part is not None else None)
    if number is None or part is None or part.value is None or said is None or part.comparator:
        return
    if said not in (part.value * number, part.value):
        yield whole, (f"{number} x {amount(part.value, part.unit)} = {amount(part.value * number, part.unit)}, "
                      f"said: {amount(said, part.unit)}")  # fmt: skip


def _bracketed(tokens: Sequence[Token]) -> Iterator[tuple[int, str]]:
    """ "Specimens: toe, swab of pus, margin bone (3)"."""
    for index, token in enumerate(tokens[:-2]):
        if token.norm not in ("specimens", "samples", "biopsies", "cultures") or tokens[index + 1].norm != ":":
            continue
        items = 1
        for at in range(index + 2, len(tokens) - 1):
            norm = tokens[at].norm
            if norm in (".", ";", ":"):
                break
            number = count(tokens[at + 1])
            if norm == "(" and number is not None and [one.norm for one in tokens[at + 2 : at + 3]] == [")"]:
                if items > 1 and items != number:
                    yield at + 1, f"{items} named, said: {number}"
                break
            items += norm in (",", "and") and tokens[at - 1].norm != ","
