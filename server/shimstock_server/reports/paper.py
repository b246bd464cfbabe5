"""A report on paper: a PDF of its chief figures and tables, and its pictures."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from shimstock_server.web.pictures import DRAWING

from .page import doing, facts, named, row_of
from .plots import INK, SOFT, STYLE, figures
from .tables import Report

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHEET = (8.27, 11.69)
"""A4, upright [in]."""
LINES = 46
"""Lines of a table on a sheet."""
COLUMNS = ("", "n", "median", "middle 80 %", "in spec", "n", "median", "middle 80 %", "in spec", "Cpk")
WIDTHS = (0.27, 0.05, 0.075, 0.13, 0.07, 0.05, 0.075, 0.13, 0.07, 0.08)


def paper(report: Report, units: str) -> bytes:
    """Return a report as PDF, the same bytes for the same report."""
    with DRAWING:
        import matplotlib as mpl
        from matplotlib.backends.backend_pdf import PdfPages

        packed = io.BytesIO()
        title = f"{report['maker']} {report['name']}"
        told = {"Title": f"{title} - batch report", "Creator": None, "Producer": None, "CreationDate": None}
        with mpl.rc_context({**STYLE, "pdf.fonttype": 42}), PdfPages(packed, metadata=told) as file:
            file.savefig(_front(report, title, units))
            for heading, figure in figures(report, units):
                figure.suptitle(f"{title}: {heading}", fontsize=10, color=INK, x=0.02, ha="left")
                file.savefig(figure)
            for sheet in _tables(report, title, units):
                file.savefig(sheet)
        return packed.getvalue()


def _sheet() -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=SHEET, facecolor="white")


def _front(report: Report, title: str, units: str) -> Figure:
    sheet = _sheet()
    period = report["period"]
    sheet.text(0.08, 0.93, title, fontsize=18, color=INK, wrap=True)
    days = f"{period['first']} to {period['last']}, days of {period['zone']}"
    sheet.text(0.08, 0.905, f"{report['kind'].replace('-', ' ')} · {days}", fontsize=10, color=SOFT)
    y = 0.86
    for name, value in facts(report, units):
        sheet.text(0.08, y, name, fontsize=10, color=SOFT)
        sheet.text(0.45, y, value, fontsize=10, color=INK)
        y -= 0.022
    for heading, key in (("What was done", "steps"), ("What came in", "findings")):
        if report[key]:
            y -= 0.03
            sheet.text(0.08, y, f"{heading}: jobs, of jobs done, mean way each time", fontsize=11, color=INK)
        for each in report[key][:14]:
            y -= 0.02
            told = doing(each, units)
            sheet.text(0.08, y, told["name"], fontsize=9, color=INK)
            for x, name in ((0.45, "jobs"), (0.55, "share"), (0.66, "way")):
                sheet.text(x, y, told[name], fontsize=9, color=INK)
    return sheet


def _tables(report: Report, title: str, units: str) -> Iterator[Figure]:
    rows = [_cells(each, units) for each in report["quantities"]]
    for start in range(0, len(rows), LINES):
        sheet = _sheet()
        sheet.text(0.05, 0.955, f"{title}: readings as received, then final", fontsize=10, color=INK)
        axes = sheet.add_axes((0.05, 0.03, 0.9, 0.9))
        axes.set_axis_off()
        table = axes.table(
            cellText=rows[start : start + LINES], colLabels=COLUMNS, colWidths=WIDTHS, loc="upper left",
            edges="horizontal", cellLoc="right",
        )  # fmt: skip
        table.auto_set_font_size(False)
        table.set_fontsize(6.5)
        for (_, column), cell in table.get_celld().items():
            cell.set_edgecolor("#cccccc")
            if column == 0:
                cell.set_text_props(ha="left")
        yield sheet


def _cells(each: dict[str, Any], units: str) -> Sequence[str]:
    row, name = row_of(each, units), named(each, units)
    came, went = row["ends"]
    told = [end[key] for end in (came, went) for key in ("count", "median", "range", "share")]
    return [f"{name['name']} ({name['small']})", *told, went["cpk"].split(" ")[0]]
