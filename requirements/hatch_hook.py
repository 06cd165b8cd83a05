"""Takes the project's dependencies from requirements/run.in, so that they are written in one place."""

from pathlib import Path

from hatchling.metadata.plugin.interface import MetadataHookInterface


class RequirementsHook(MetadataHookInterface):
    def update(self, metadata: dict) -> None:
        lines = (Path(self.root) / "requirements" / "run.in").read_text(encoding="utf-8").splitlines()
        metadata["dependencies"] = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
