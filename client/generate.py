#!/usr/bin/env python
"""Write the SDK's records, words, bodies and lists from `openapi/shimstock.json`.

    python client/generate.py            writes client/shimstock_client/_contract/
    python client/generate.py --check    compares, and fails when the document and the code differ

Another document can be named behind.

Records are what the service answers, bodies are what it takes, words are the closed sets of text in both.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

from generator.classes import Contract
from generator.document import Document
from generator.files import Files

HERE = Path(__file__).resolve().parent
DOCUMENT = HERE.parent / "openapi" / "shimstock.json"
TARGET = HERE / "shimstock_client" / "_contract"


def generated(document: Path = DOCUMENT) -> dict[str, str]:
    """Return every file of the package as it has to be, by its path below it."""
    contract = Contract(Document(json.loads(document.read_text(encoding="utf-8"))))
    contract.collect()
    with tempfile.TemporaryDirectory() as folder:
        for name, text in Files(contract).write().items():
            path = Path(folder, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="utf-8")
        settings = ["--quiet", "--no-cache", "--config", str(HERE.parent / "pyproject.toml"), folder]
        for task in (["check", "--fix-only", "--select", "I,F401,UP,RUF022"], ["format"]):
            subprocess.run([sys.executable, "-m", "ruff", *task, *settings], check=True)  # noqa: S603 - ruff
        return {
            str(path.relative_to(folder)): path.read_text(encoding="utf-8")
            for path in sorted(Path(folder).rglob("*.py"))
        }


def committed() -> dict[str, str]:
    """Return every file of the package as it is."""
    return {
        str(path.relative_to(TARGET)): path.read_text(encoding="utf-8")
        for path in sorted(TARGET.rglob("*.py"))
    }


def main() -> None:
    """Write the package, or compare it."""
    given = [Path(name) for name in sys.argv[1:] if not name.startswith("-")]
    texts = generated(*given)
    before = committed()
    if "--check" in sys.argv[1:]:
        differing = sorted(name for name in texts.keys() | before if texts.get(name) != before.get(name))
        if differing:
            sys.exit(f"the client's {', '.join(differing)} differ from the document: run client/generate.py")
        return
    for name in before.keys() - texts:
        (TARGET / name).unlink()
    for name, text in texts.items():
        (TARGET / name).parent.mkdir(parents=True, exist_ok=True)
        (TARGET / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
