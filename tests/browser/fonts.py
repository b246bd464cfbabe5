"""The fonts that a browser is given in place of the machine's own: a wide family or a narrow one."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

FAMILIES = {
    "wide": ("DejaVu Sans", "DejaVu Serif", "DejaVuS*.ttf"),
    "narrow": ("STIXGeneral", "STIXGeneral", "STIXGeneral*.ttf"),
}
"""What stands for sans-serif and for serif, and the files of both, which matplotlib brings along.

DejaVu Sans, as wide as Verdana, is the widest face that Debian, Windows or macOS fall back to; STIX General
is as narrow as Times (common practice, no published source).
"""

CONFIGURATION = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">
<fontconfig>
<dir>{folder}</dir>
<cachedir>{folder}/cache</cachedir>
{aliases}
</fontconfig>
"""
"""As fonts-conf(5) describes it; a family of any other name is not found."""
ALIAS = '<alias binding="same"><family>{generic}</family><prefer><family>{family}</family></prefer></alias>'


def configure(family: str, folder: Path) -> Path:
    """Write a configuration for fontconfig with the files of one family alone, and return where it is."""
    sans, serif, pattern = FAMILIES[family]
    found = sorted(shipped().glob(pattern))
    assert found, f"matplotlib ships no {pattern}"
    for file in found:
        (folder / file.name).symlink_to(file)
    generic = {"sans-serif": sans, "system-ui": sans, "serif": serif, "monospace": sans}
    aliases = "\n".join(ALIAS.format(generic=name, family=face) for name, face in generic.items())
    configuration = folder / "fonts.conf"
    configuration.write_text(CONFIGURATION.format(folder=folder, aliases=aliases), encoding="utf-8")
    return configuration


def shipped() -> Path:
    """Return where matplotlib keeps its fonts, without importing it."""
    spec = find_spec("matplotlib")
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
