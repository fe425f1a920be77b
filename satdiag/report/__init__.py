"""The report: one self-contained HTML file that draws what the findings hold and computes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from satdiag.report.page import report_html
    from satdiag.report.writing import write_report

__all__ = ["report_html", "write_report"]

_HOMES = {"report_html": "satdiag.report.page", "write_report": "satdiag.report.writing"}


def __getattr__(name: str) -> Any:
    """Import on use: the cautions are wanted on the command line too, without templates and plotly."""
    if name not in _HOMES:
        raise AttributeError(f"module 'satdiag.report' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
