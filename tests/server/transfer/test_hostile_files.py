"""Files that are no export, or no longer the one that was written, are refused whole and in a sentence."""

from __future__ import annotations

import hashlib
import io
import json
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from shimstock_server.config import Config
from tests.server.workshop import Workshop

from .test_round_trip import empty, empty_config, export, import_, shop

__all__ = ["empty", "empty_config", "shop"]

pytestmark = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
OWNERS = "tables/owners.jsonl"
Files = dict[str, bytes]


def signed(files: Files, name: str, content: bytes, rows: int | None = None) -> Files:
    """Put other content into a file, with the hash and the number of rows that the manifest tells."""
    manifest = json.loads(files["manifest.json"])
    for told in manifest["tables"]:
        if told["file"] == name:
            told["sha256"] = hashlib.sha256(content).hexdigest()
            told["rows"] = len(content.splitlines()) if rows is None else rows
    return files | {name: content, "manifest.json": json.dumps(manifest).encode()}


def manifest_with(files: Files, **members: Any) -> Files:
    return files | {"manifest.json": json.dumps(json.loads(files["manifest.json"]) | members).encode()}


def entries(files: Files, **members: Any) -> Files:
    """Give every table's entry in the manifest other members."""
    tables = json.loads(files["manifest.json"])["tables"]
    return manifest_with(files, tables=[told | members for told in tables])


def owner(files: Files, **members: Any) -> Files:
    rows = [json.loads(line) for line in files[OWNERS].splitlines()]
    return signed(files, OWNERS, b"".join(json.dumps(row | members).encode() + b"\n" for row in rows))


def without(files: Files, name: str) -> Files:
    return {each: content for each, content in files.items() if each != name}


CASES: dict[str, tuple[Callable[[Files], Files], str]] = {
    "no manifest": (lambda f: without(f, "manifest.json"), "no manifest.json"),
    "another revision": (lambda f: manifest_with(f, revision="0001"), "revision 0001"),
    "another format": (lambda f: manifest_with(f, format="x"), "does not say"),
    "another version": (lambda f: manifest_with(f, version=2), "of version 2"),
    "no tables": (lambda f: manifest_with(f, tables=[]), "does not list"),
    "tables that are none": (lambda f: manifest_with(f, tables="all"), "does not list"),
    "entries that are none": (lambda f: manifest_with(f, tables=[1, None]), "does not list"),
    "a file elsewhere": (lambda f: entries(f, file="../../etc/passwd"), "does not list"),
    "rows that are no number": (lambda f: entries(f, rows="many"), "does not list"),
    "no hash": (lambda f: entries(f, sha256=None), "does not list"),
    "a manifest of lists": (lambda f: f | {"manifest.json": b"[" * 100_000}, "cannot be read"),
    "a long manifest": (lambda f: f | {"manifest.json": b" " * (2 << 20)}, "longer than any manifest"),
    "a manifest in another tongue": (lambda f: f | {"manifest.json": b"\xff\xfe{"}, "cannot be read"),
    "a table that is missing": (lambda f: without(f, OWNERS), f"{OWNERS} is missing"),
    "another name": (lambda f: f | {OWNERS: f[OWNERS].replace(b"Robin", b"Robyn")}, "it was changed"),
    "a row more": (lambda f: f | {OWNERS: f[OWNERS] * 2}, "it was changed"),
    "a row twice": (lambda f: signed(f, OWNERS, f[OWNERS] * 2), "a row does not fit the tables"),
    "a row less": (lambda f: f | {OWNERS: b""}, "it was changed"),
    "other columns": (lambda f: signed(f, OWNERS, b'{"id": 1}\n'), "line 1: the columns"),
    "a list as row": (lambda f: signed(f, OWNERS, b"[]\n"), "line 1: the columns"),
    "a line cut short": (lambda f: signed(f, OWNERS, f[OWNERS][:-9]), "line 1 cannot be read"),
    "no id": (lambda f: owner(f, id="no id"), "line 1: "),
    "a number as name": (lambda f: owner(f, name=7), "name: a text was expected, not '7'"),
    "a long name": (lambda f: owner(f, name="x" * 9000), "name: has more than"),
    "a day as instant": (lambda f: owner(f, created_at="today"), "line 1: "),
    "an unknown word": (lambda f: owner(f, units="cubits"), "line 1: 'cubits'"),
    "a huge number": (lambda f: owner(f, version=10**30), "at most 64 bits"),
    "a text as number": (lambda f: owner(f, version="1"), "version: a whole number was expected"),
    "nobody's instrument": (lambda f: signed(f, OWNERS, b""), "does not fit the tables"),
    "an escape sequence": (lambda f: owner(f, name="R\x1b[2J"), "must not hold the control character U+001B"),
    "a direction mark": (lambda f: owner(f, note="R\u202e"), "note: must not hold the direction mark U+202E"),
    "half of a pair": (lambda f: owner(f, name="R\ud800"), "surrogate"),
    "no number": (lambda f: owner(f, version=float("nan")), "/version must be a finite number, not NaN"),
    "a nest": (lambda f: signed(f, OWNERS, b'{"id": ' + b"[" * 100_000 + b"\n"), "nested at most 40 deep"),
    "a line without end": (
        lambda f: signed(f, OWNERS, b"[" + b" " * (9 << 20) + b"]", rows=1), "longer than any of an export",
    ),
}  # fmt: skip


@pytest.fixture
def exported(shop: Workshop, config: Config, tmp_path: Path) -> Files:
    """What a small shop exports, file by file."""
    assert shop
    return export(config.database_url, tmp_path / "shop.zip")


def packed(path: Path, files: Files, method: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", method) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return path


def test_what_is_no_export_is_refused_whole(exported: Files, empty_config: Config, tmp_path: Path) -> None:
    url = empty_config.database_url
    for number, (name, (change, why)) in enumerate(CASES.items()):
        ran = import_(url, packed(tmp_path / f"{number}.zip", change(exported)))
        assert (ran.exit_code, ran.exception.__class__) == (1, SystemExit), f"{name}: {ran.exception!r}"
        assert why in ran.output, f"{name}: {ran.output}"
        assert len(ran.output) < 600, name
    assert import_(url, tmp_path / "shop.zip").exit_code == 0  # nothing was left behind
    again = import_(url, tmp_path / "shop.zip")
    assert again.exit_code == 1
    assert "not empty" in again.output


def middles(whole: bytes) -> list[int]:
    """Where the packed data of the largest tables of an export have their middle (APPNOTE 4.3.7)."""
    with zipfile.ZipFile(io.BytesIO(whole)) as packed_files:
        tables = [entry for entry in packed_files.infolist() if entry.filename.startswith("tables/")]
    largest = sorted(tables, key=lambda entry: entry.compress_size)[-8:]
    found = []
    for entry in largest:
        header = entry.header_offset
        name, extra = struct.unpack_from("<HH", whole, header + 26)
        found.append(header + 30 + name + extra + entry.compress_size // 2)
    return found


def test_bytes_that_are_damaged_locked_or_a_trap_are_refused(
    exported: Files, empty_config: Config, tmp_path: Path
) -> None:
    whole = (tmp_path / "shop.zip").read_bytes()
    url = empty_config.database_url

    def refused(data: bytes) -> str:
        path = tmp_path / "hostile.zip"
        path.write_bytes(data)
        ran = import_(url, path)
        assert (ran.exit_code, ran.exception.__class__) == (1, SystemExit), repr(ran.exception)
        return str(ran.output)

    assert "cannot be read as an export" in refused(b"no zip")
    assert "cannot be read as an export" in refused(b"")
    assert "cannot be read as an export" in refused(whole[: len(whole) // 2])
    for at in middles(whole):  # a byte of packed data is another one
        told = refused(whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :])
        assert told.startswith("Error: ")
    # the bit that says an entry is locked, in every local header and in the directory
    locked = bytearray(whole)
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = whole.find(mark)
        while at >= 0:
            locked[at + offset] |= 1
            at = whole.find(mark, at + 4)
    assert "cannot be read as an export" in refused(bytes(locked))
    # a small file that unpacks to a gigabyte, and names that lead out of the folder
    bomb = packed(tmp_path / "bomb.zip", exported | {OWNERS: bytes(1 << 28)})
    assert bomb.stat().st_size < 1 << 20
    assert "longer than any" in refused(bomb.read_bytes())
    outside = packed(tmp_path / "outside.zip", {"../../outside": b"x", "/outside": b"x"} | exported)
    assert import_(url, outside).exit_code == 0
    assert not list(tmp_path.parent.parent.glob("outside"))


def test_a_name_is_composed_as_a_request_would(exported: Files, empty_config: Config, tmp_path: Path) -> None:
    changed = owner(exported, name="Zoe\u0308 Nguye\u0302\u0303n")  # decomposed; NFC of Unicode Annex 15
    assert import_(empty_config.database_url, packed(tmp_path / "shop.zip", changed)).exit_code == 0
    again = export(empty_config.database_url, tmp_path / "again.zip")
    assert "Zo\u00eb Nguy\u1ec5n" in json.loads(again[OWNERS].splitlines()[0])["name"]
