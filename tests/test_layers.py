"""The house keeps its floors: imports go down only, plug-ins import `base` and nothing of each other."""

from __future__ import annotations

import ast
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "pipeline"
PLUGIN_FOLDERS = ("engines", "extractors", "checks", "exports")
LAYERS = {
    name: level
    for level, names in enumerate(
        (
            "errors records paths sound merging",
            "rows note grammar manifest model_store plugins site wordlist",
            "audio segments onsets engines",
            "listen ear controls soundstore agreement sayings spotting sounds lexicon readings repair figures numerals "
            "units mil_lengths levels codes identifiers dates clocks heard_clocks four_digits day_times shapes turned "
            "compounds owners ranges comparators restated contrasts hesitated queries asked_told renamed said_not "
            "corrections "
            "correction_cues gapped conversion no_numbers fillers letters spelled quantities counted_things "
            "tokens timespan streams stray_stops how_often utterances rephrased mentions section_ends sections clauses "
            "conditions kin facing pictures context_cues said_behind changed_plans context_reach context_behind "
            "context_ends context_years not_of_today context "
            "short_names answers purposes mixtures body_parts left_as_side side_names side_initials compared_sides "
            "sidewords listed_sides paired_illness talk_sides donor_sides denied_sides "
            "sideshare laterality people namesakes enumerations "
            "scales cues phases sidewise story visits what_if replacements",
            "extractors",
            "side_turns standing stated_sides relative_sides sidelines own_numbers sole_side side_orders known_parts "
            "label_sides inherited same_again announced abandoned removals prior_devices unused lost_parts one_state "
            "settled_later clashes "
            "settle unsure_states dose_talk class_words unsure faint leftovers assemble limits "
            "signout wording word word_template "
            "other_side dosing coding udi fhir",
            "checks review exports",
            "output checking delivery run casefiles contexts caseview dictation desk live jobs handover",
            "summary check_cli handover_cli listen_cli models_cli serve_cli cli web",
        )
    )
    for name in names.split()
}


def modules() -> list[Path]:
    return sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


def imports(path: Path) -> set[str]:
    """Absolute names of what a module imports from the package, lazy imports included."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.split(".")[0] == "pipeline"}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            if node.module == "pipeline":
                found |= {f"pipeline.{alias.name}" for alias in node.names}
            elif node.module and node.module.startswith("pipeline."):
                found.add(node.module)
                package = PACKAGE.parent / node.module.replace(".", "/")
                if package.is_dir():
                    found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found - {"pipeline.__version__"}


def top(path: Path) -> str:
    part = path.relative_to(PACKAGE).parts[0]
    return part.removesuffix(".py")


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_go_down_only(path: Path) -> None:
    own = top(path)
    assert own in LAYERS, f"{own} has no floor yet: add it to LAYERS and to the module map in DEVELOPERS.md"
    for name in imports(path):
        other = name.split(".")[1]
        if other != own:
            assert LAYERS[other] <= LAYERS[own], f"{own} imports {other}, which lies above it"
            assert not (LAYERS[other] == LAYERS[own] == LAYERS["checks"]), f"neighbours: {own} imports {other}"


def test_no_circle() -> None:
    graph = {top(path): set() for path in modules()}
    for path in modules():
        graph[top(path)] |= {name.split(".")[1] for name in imports(path)} - {top(path)}
    done: set[str] = set()

    def visit(name: str, above: tuple[str, ...]) -> None:
        assert name not in above, " -> ".join((*above, name))
        if name not in done:
            for other in sorted(graph[name]):
                visit(other, (*above, name))
            done.add(name)

    for name in graph:
        visit(name, ())
    assert done == set(graph)


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_name_of_a_module_means_one_thing(path: Path) -> None:
    """A second value for a name hides the first from every function above it as well."""
    told: list[str] = []
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        targets = node.targets if isinstance(node, ast.Assign) else []
        told += [name.id for target in targets for name in ast.walk(target)
                 if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)]  # fmt: skip
    assert len(told) == len(set(told)), sorted({name for name in told if told.count(name) > 1})


@pytest.mark.parametrize("folder", PLUGIN_FOLDERS)
def test_no_circle_among_the_helpers_of_plugins(folder: str) -> None:
    graph: dict[str, set[str]] = {}
    for path in (PACKAGE / folder).glob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        named = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.module]
        graph[path.stem] = {node.module.rsplit(".", 1)[-1] for node in named if f".{folder}." in f".{node.module}."}
        graph[path.stem] |= {
            alias.name for node in named if node.module == f"pipeline.{folder}" for alias in node.names
        }
    done: set[str] = set()

    def visit(name: str, above: tuple[str, ...]) -> None:
        assert name not in above, " -> ".join((*above, name))
        if name not in done:
            for other in sorted(graph.get(name, ())):
                visit(other, (*above, name))
            done.add(name)

    for name in graph:
        visit(name, ())
    assert done >= set(graph)


@pytest.mark.parametrize("folder", PLUGIN_FOLDERS)
def test_plugins_know_nothing_of_each_other(folder: str) -> None:
    members = [path for path in (PACKAGE / folder).glob("*.py") if path.stem not in ("__init__", "base")]
    assert members, f"{folder} is empty"
    for path in members:
        if path.stem.startswith("_"):
            continue
        for name in imports(path):
            parts = name.split(".")
            if len(parts) > 2 and parts[1] == folder:
                assert parts[2] == "base" or parts[2].startswith("_"), f"{path.name} imports {name}"


@pytest.mark.parametrize("path", modules(), ids=lambda path: str(path.relative_to(PACKAGE)))
def test_files_are_short_and_well_named(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    assert path.stem not in {"utils", "helpers", "types", "numbers"}


def test_top_level_is_as_drawn() -> None:
    expected = {"README.md", "DEVELOPERS.md", "pyproject.toml", "pipeline", "models", "grammars", "tests", "audio_demo"}
    assert expected <= {path.name for path in ROOT.iterdir()}


def test_version_is_one() -> None:
    import pipeline

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == pipeline.__version__
    assert project["name"] == "vox-operandi"
