"""How lists and answers look in a notebook: plain tables with a line above, nothing to load."""

from __future__ import annotations

import html

import pandas as pd

from firelog.verdict import Verdict

SHOWN_ROWS = 40


def listed(table: pd.DataFrame, head: str) -> str:
    """Return a table under a line of text; names are escaped, long lists cut in the middle."""
    return f"<p>{html.escape(head)}</p>{_table(table, SHOWN_ROWS)}"


def judged(name: str, verdict: Verdict, table: pd.DataFrame, remarks: tuple[str, ...]) -> str:
    """Return a verdict in words, the table it stands on, and what is to be said besides."""
    head = f"<p><b>{html.escape(name)}</b>: <b>{html.escape(verdict.value)}</b></p>"
    said = "".join(f"<li>{html.escape(remark)}</li>" for remark in remarks)
    return head + _table(table) + (f"<ul>{said}</ul>" if said else "")


def _table(table: pd.DataFrame, max_rows: int | None = None) -> str:
    with pd.option_context("display.max_colwidth", None):  # a reason cut short is no reason
        return table.to_html(
            border=0,
            na_rep="–",
            escape=True,
            max_rows=max_rows,
            float_format=lambda number: f"{number:.6g}",
        )
