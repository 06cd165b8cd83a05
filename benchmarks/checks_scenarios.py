"""Correct narrations with slots, for benchmarks/checks.py. Invented people; every number of a narration agrees.

A scenario is a template of checks_scenarios.toml and a function that fills its slots from a seed. Slots that must
agree have names of their
own (`side_time_out`, `side_prep`), so that an error is planted by filling one of them differently.
"""

from __future__ import annotations

import random
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

from num2words import num2words

Slots = dict[str, object]

SIDES = ("left", "right")


@dataclass(frozen=True)
class Scenario:
    """`template`: text with {slots}; `fill`: seed -> slots; `unit_words`: said in full when spoken."""

    name: str
    template: str
    fill: Callable[[random.Random], Slots]


def say(value: object) -> str:
    """A number in words, as dictated."""
    if isinstance(value, Decimal):
        whole, _, part = format(value.normalize(), "f").partition(".")
        if part:
            return f"{num2words(int(whole)) if whole != '0' else 'zero'} point " + " ".join(
                num2words(int(digit)) for digit in part
            )
        return say(int(whole))
    return str(num2words(value)).replace(",", "") if isinstance(value, int) else str(value)


def clock(minutes: int) -> str:
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def say_clock(text: str) -> str:
    hour, minute = (int(part) for part in text.split(":"))
    hours = f"oh {num2words(hour)}" if hour < 10 else num2words(hour)
    if minute == 0:
        return f"{hours} hundred hours"
    return f"{hours} {'oh ' if minute < 10 else ''}{num2words(minute)}"


def render(scenario: Scenario, slots: Slots, spoken: bool) -> str:
    """The narration with numbers in words (`spoken`) or in figures."""

    def word(key: str, value: object) -> str:
        if key.startswith("t_"):
            return say_clock(str(value)) if spoken else str(value)
        if isinstance(value, (int, Decimal)):
            return say(value) if spoken else format(value, "f") if isinstance(value, Decimal) else str(value)
        return str(value)

    return " ".join(scenario.template.split()).format(**{key: word(key, value) for key, value in slots.items()})


# --- what several narrations share -----------------------------------------------------------------------------------


def shared(random_: random.Random) -> Slots:
    side = random_.choice(SIDES)
    start = random_.choice((8, 9, 10, 13, 14)) * 60 + random_.choice((0, 5, 15, 20))
    up = random_.choice((46, 58, 64, 71, 88))
    slots: Slots = {
        "patient": random_.choice(("Anna Lindqvist", "Carlos Medina", "Maeve Doyle", "Piotr Wolski", "Irene Costa")),
        "surgeon": random_.choice(("Harper", "Okafor", "Lindgren")),
        "assistant": random_.choice(("Mason", "Petrova", "Sato")),
        "weight": random_.choice((62, 70, 84)), "u_weight": "kilograms", "allergy": "",
        "side": side, "side_dx": side, "side_time_out": side, "side_prep": side, "side_inject": side, "side_post": side,
        "t_room": clock(start), "t_antibiotic": clock(start + 12), "t_time_out": clock(start + 25),
        "t_up": clock(start + 32), "t_incision": clock(start + 35), "t_down": clock(start + 32 + up),
        "tourniquet": up, "t_closure": clock(start + 32 + up - 6), "t_out": clock(start + 32 + up + 14),
        "abx_dose": 2, "u_abx": "grams", "pressure": random_.choice((250, 280, 300)),
        "ebl": random_.choice((10, 25, 40, 60)), "u_ebl": "millilitres", "ebl_again": "",
        "specimens": "No specimens.", "drains": "No drains.", "counts": "correct", "complications": "No complications.",
        "extra": "", "grade": random_.choice((2, 3, 4)),
    }  # fmt: skip
    return slots


def block(random_: random.Random, volume: int) -> Slots:
    """A block whose strength times volume is its dose: 1 % = 10 mg/mL."""
    percent = random_.choice((Decimal("0.25"), Decimal("0.5")))
    milligrams = percent * 10 * volume
    return {"la_percent": percent, "la_volume": volume, "u_la_volume": "millilitres",
            "la_dose": milligrams.quantize(Decimal(1))
            if milligrams == milligrams.to_integral() else milligrams, "u_la_dose": "milligrams"}  # fmt: skip


def marrow(random_: random.Random) -> Slots:
    draws = [random_.choice((3, 4, 5, 6)) for _ in range(4)]
    total = sum(draws)
    injected = [4, 2]
    side = random_.choice(SIDES)
    return {
        "side_harvest": side, "draw1": draws[0], "draw2": draws[1], "draw3": draws[2], "draw4": draws[3],
        "total": total, "u_total": "millilitres", "draw_count": 4, "depth": 1, "u_depth": "centimetre",
        "heparin_strength": 1000, "heparin_volume": 2, "heparin_dose": 2000, "u_heparin": "units",
        "injected1": injected[0], "injected2": injected[1], "injected_total": sum(injected), "product": 6,
    }  # fmt: skip


def joined(values: list[object], spoken: str = "and") -> str:
    return ", ".join(str(value) for value in values[:-1]) + f" {spoken} {values[-1]}"


def listed(random_: random.Random) -> Slots:
    """Numbers of things with the things listed behind them, shares of several needles, a lot said twice."""
    lengths = sorted(random_.choice((60, 64, 68, 70, 75, 80)) for _ in range(6))
    lot = random_.choice(("4 7 1", "9 3 6", "2 8 5"))
    return {
        "incision": 10, "screw_count": 6, "lengths": lengths, "screw_list": joined(list(lengths)),
        "specimen_count": 4, "specimen_list": "bone, cartilage, synovium and fluid of the knee",
        "needle_volume": 3, "u_needle": "millilitres", "needles": 4, "needle_total": 12, "la_percent": 1,
        "opioid": "Morphine", "opioid_dose": random_.choice((5, 6, 8)), "lot": lot, "lot_again": lot,
        "expiry": random_.choice(("the thirty first of May two thousand and twenty eight",
                                  "the first of October two thousand and twenty seven")),
    }  # fmt: skip


FILLS: dict[str, Callable[[random.Random], Slots]] = {
    "ankle": lambda random_: shared(random_) | block(random_, 20) | marrow(random_),
    "hip-marrow": lambda random_: shared(random_) | marrow(random_) | {"grade": random_.choice((1, 2, 3))},
    "cuff-repair": lambda random_: shared(random_) | block(random_, 15) | {
        "medial": 2, "lateral": (lateral := random_.choice((1, 3))), "anchors": 2 + lateral,
        "pump": random_.choice((40, 50, 60)), "irrigation_in": 9, "irrigation_out": Decimal("8.4"), "deficit": 600},
    "wrist-plate": lambda random_: shared(random_) | {
        "incision": 6, "screws1": (first := random_.choice((3, 4))), "screws2": (second := random_.choice((2, 5))),
        "screws": first + second, "length1": 14, "length2": 20,
        "implant_number": "The lot number of the plate is A B 1 2 3. "},
    "trigger-finger": lambda random_: shared(random_) | {
        "digit": (digit := random_.choice(("ring finger", "middle finger", "index finger"))), "digit_dx": digit,
        "digit_time_out": digit, "la_percent": 1, "u_la_volume": "millilitres",
        "la_volume": (volume := random_.choice((5, 8, 10))),
        "la_dose": 10 * volume, "u_la_dose": "milligrams", "incision": 2, "pressure": 250},
    "microdiscectomy": lambda random_: shared(random_) | {
        "level": (level := random_.choice(("L4-L5", "L5-S1"))), "level_dx": level, "level_time_out": level,
        "incision": 4, "fluid1": 500, "fluid2": (fluid := random_.choice((300, 700))), "fluid": 500 + fluid},
    "inguinal-hernia": lambda random_: shared(random_) | block(random_, 20) | {"incision": 7, "mesh1": 15, "mesh2": 10},
    "gallbladder": lambda random_: shared(random_) | {
        "specimens": "Specimen, gallbladder to pathology.", "insufflation": random_.choice((12, 14)),
        "irrigation_in": 1000, "irrigation_out": 800, "deficit": 200},
    "lumpectomy": lambda random_: shared(random_) | block(random_, 10) | {
        "specimens": "Specimen, breast tissue to pathology.", "incision": 5, "mass": 2},
    "tibial-plateau": lambda random_: shared(random_) | listed(random_),
    "carpal-tunnels": lambda random_: shared(random_) | {
        "la_percent": 1, "la_side": (volume := random_.choice((6, 8))), "la_both": 2 * volume, "incision": 3},
}  # fmt: skip

_TEMPLATES = tomllib.loads(Path(__file__).with_suffix(".toml").read_text(encoding="utf-8"))
SCENARIOS = tuple(Scenario(name, _TEMPLATES[name]["template"], fill) for name, fill in FILLS.items())
