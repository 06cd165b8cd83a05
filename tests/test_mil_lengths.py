"""A "mil" is a millimetre beside what has a length and no volume, else a millilitre. [common practice, no source]"""

import pytest

from pipeline import run

LENGTHS = """
an eight mil drill over the wire|8
a five mil screw in the left ankle|5
through a ten mil cannula|10
a four point seven five mil anchor in the tuberosity|4.75
we reamed with a nine mil reamer|9
reamed up to nine and a half mil|9.5
the graft was eight and a half mil|8.5
a tear of twelve mil|12
a partial thickness tear, six mil deep|6
a five mil umbilical port|5
a twelve mil bladeless trocar|12
a one point two mil k-wire|1.2
ten mil polyethylene insert|10
the endobutton is fifteen mil|15
a three mil biopsy punch|3
two mil of bone off the acromion|2
a lesion of the talar dome ten by eight mil|8
the defect twenty five by twelve mil|12
the gap was four mil|4
distal femur cut nine mil|9
""".strip().splitlines()

VOLUMES = """
five mils of marrow from the right iliac crest|5
a ten mil syringe of saline|10
injected the tear with two mil fibrin glue|2
lesion injected, two mil triamcinolone|2
four mils into the right knee|4
thirty mil in the balloon of the catheter|30
eight mils of bone marrow concentrate were drawn up|8
lidocaine ten mils portals then scope|10
lidocaine ten mil portals then scope|10
six mil bupivacaine into the portals|6
blood loss about five mils apart from the marrow|5
blood loss a hundred and twenty mils stent out next week|120
""".strip().splitlines()


def _units(said: str, value: str) -> set[str | None]:
    facts = run.note_from_text(said, name="mil").facts
    return {fact.unit for fact in facts if fact.value is not None and str(fact.value) == value}


@pytest.mark.parametrize("row", LENGTHS)
def test_length(row: str) -> None:
    said, value = row.split("|")
    assert _units(said.capitalize() + ".", value) == {"mm"}


@pytest.mark.parametrize("row", VOLUMES)
def test_volume(row: str) -> None:
    said, value = row.split("|")
    assert _units(said.capitalize() + ".", value) == {"mL"}
