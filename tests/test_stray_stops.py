"""Full stops in the wrong place, as recognisers write them; sentences of our own, common practice, no source."""

from __future__ import annotations

import pytest

from pipeline.tokens import words_from_text
from pipeline.utterances import read

# (written, sentences that stand)
MENDED = [
    ("General, and block 25. ml of 0.375%. Ropivacaine", ["General , and block 25 ml of 0.375 % Ropivacaine"]),
    ("Traction 10. kilos. Spur of. 6 mm removed.", ["Traction 10 kilos .", "Spur of 6 mm removed ."]),
    ("Counts. Correct. No. Complications. Boot for. 2 weeks.", ["Counts Correct .", "No Complications .",
                                                               "Boot for 2 weeks ."]),
    ("Triamcinolone. Not given, but ropivacaine 5 ml. of the 0.2%.",
     ["Triamcinolone Not given , but ropivacaine 5 ml of the 0.2 % ."]),
    ("Traction off at 14.12. Sixty seven minutes. Clinic at. 6 weeks.", ["Traction off at 14.12 Sixty seven minutes .",
                                                                      "Clinic at 6 weeks ."]),
    ("Tourniquet. Down at 13.52 that is. 47 minutes.", ["Tourniquet Down at 13.52 that is 47 minutes ."]),
    ("Back in. 12 days. Aspirin 75 mg. Daily for 2 weeks.",
     ["Back in 12 days .", "Aspirin 75 mg Daily for 2 weeks ."]),
    ("Traction off at 14.12. Sixty seven minutes. Clinic at. 6 weeks.",
     ["Traction off at 14.12 Sixty seven minutes .", "Clinic at 6 weeks ."]),
    ("Released four. Centimetres. Ten mils. Of levobupivacaine.",
     ["Released four Centimetres .", "Ten mils Of levobupivacaine ."]),
    ("Walking boot. Two weeks. Stitches out. Day twelve.", ["Walking boot Two weeks .", "Stitches out Day twelve ."]),
    ("Tourniquet down. Ten oh two. Forty two. Minutes.", ["Tourniquet down Ten oh two Forty two Minutes ."]),
    ("Paracetamol one gram. Four times daily. No. Heparin because he walks.",
     ["Paracetamol one gram Four times daily .", "No Heparin because he walks ."]),
    ("Ulnar gutter. Free. No. Loose bodies. Normal.", ["Ulnar gutter .", "Free .", "No Loose bodies .", "Normal ."]),
    ("Naproxen. Five hundred milligrams. Twice daily. For ten days. With omeprazole.",
     ["Naproxen Five hundred milligrams Twice daily For ten days With omeprazole ."]),
]
LEFT = [
    ("Was a drain used? No. Complications. None.", ["Was a drain used ?", "No .", "Complications None ."]),
    ("Drain at 10. In the room at nine.", ["Drain at 10 .", "In the room at nine ."]),
    ("We closed the skin. Correct counts were read.", ["We closed the skin .", "Correct counts were read ."]),
    ("Skin closed. Ten minutes later he woke. Drain out. Ten mils in it.",
     ["Skin closed .", "Ten minutes later he woke .", "Drain out .", "Ten mils in it ."]),
    ("Was there pus? No. Loose bodies. Skin closed.", ["Was there pus ?", "No .", "Loose bodies .", "Skin closed ."]),
    ("Four draws. No. We closed.", ["Four draws .", "No . We closed ."]),
    ("The drain was left in. The rest was closed.", ["The drain was left in .", "The rest was closed ."]),
]


@pytest.mark.parametrize(("text", "stands"), [*MENDED, *LEFT], ids=lambda item: str(item)[:40])
def test_full_stops(text: str, stands: list[str]) -> None:
    assert [" ".join(token.text for token in sentence.tokens) for sentence in read(words_from_text(text))] == stands


@pytest.mark.parametrize(("text", "stands"), MENDED, ids=lambda item: str(item)[:40])
def test_every_word_stays(text: str, stands: list[str]) -> None:
    kept = {word for sentence in read(words_from_text(text)) for token in sentence.tokens
            for word in range(token.first, token.last + 1)}  # fmt: skip
    assert kept == {word.id for word in words_from_text(text)}
