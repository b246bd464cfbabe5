"""The forms in which every report is answered besides data: a page, one table, or all of them."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Iterable
from typing import Any

from shimstock_server.web.blueprint import Answer
from shimstock_server.web.context import current
from shimstock_server.web.problems import InvalidFields

from .page import security_policy

JSON, HTML, CSV, ZIP, PDF = (
    "application/json", "text/html", "text/csv", "application/zip", "application/pdf",
)  # fmt: skip
TYPES = (JSON, HTML, CSV, ZIP)


def in_form(
    query: dict[str, Any], names: Iterable[str], table: Callable[[str], str], page: Callable[[], str]
) -> Answer | None:
    """Answer with a page or tables, as `Accept` asks; None where something else is asked for.

    Parameters
    ----------
    query : dict
        With `table`, which only a CSV may name.
    names : iterable of str
        Of the tables.
    table, page : callable
        Make one table (CSV), and the page (HTML).

    Raises
    ------
    InvalidFields
        When a CSV names no table, or something else names one.
    """
    name = query.get("table")
    if current.media_type == CSV:
        if name is None:
            told = ", ".join(names)
            raise InvalidFields.at("/query/table", f"name one of {told}; `Accept: application/zip` has all")
        return Answer(text=table(name), media_type=CSV)
    if name is not None:
        raise InvalidFields.at("/query/table", "only a CSV has tables: ask for `Accept: text/csv`")
    if current.media_type == ZIP:
        return Answer(text=packed(names, table), media_type=ZIP)
    return as_page(page()) if current.media_type == HTML else None


def as_page(text: str) -> Answer:
    """Answer with a page that runs nothing and fetches nothing."""
    return Answer(text=text, media_type=HTML, headers={"Content-Security-Policy": security_policy()})


def packed(names: Iterable[str], table: Callable[[str], str]) -> bytes:
    """Return every table as a zip of CSV files, the same bytes for the same report."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            entry = zipfile.ZipInfo(f"{name}.csv")
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, table(name))
    return file.getvalue()
