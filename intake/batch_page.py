"""The batch's page of thumbnails: one self-contained HTML file beside the summary."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

_STYLE = """
:root{--ink:#1d2730;--paper:#fbfaf7;--line:#c9cfd3}
body{font:16px/1.45 system-ui,sans-serif;color:var(--ink);background:var(--paper)}
main{margin:2rem auto;max-width:72rem;padding:0 1rem}
ul{list-style:none;padding:0;display:grid;grid-template-columns:repeat(auto-fill,minmax(17rem,1fr));gap:1rem}
li{border:1px solid var(--line);padding:.75rem;background:#fff}
li img{width:100%;height:11rem;object-fit:contain;background:#eef0f1}
h2{font-size:1rem;margin:.5rem 0;overflow-wrap:anywhere}
p{margin:.25rem 0;overflow-wrap:anywhere}
"""
_WORDS = {
    "failed": "■ could not be read",
    "stop": "■ stop: do not order from it",
    "proposed": "▲ proposed, not confirmed: mark it",
    "done": "✓ done",
}


def batch_page(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the page that shows a batch's surveys, in the given order.

    Parameters
    ----------
    rows
        Rows of the summary.
    """
    counts = {state: sum(row["state"] == state for row in rows) for state in _WORDS}
    told = ", ".join(f"{count} {_WORDS[state][2:]}" for state, count in counts.items() if count)
    cards = "\n".join(_card(row) for row in rows)
    return (
        '<!doctype html>\n<html lang="en-GB"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{len(rows)} surveys</title><style>{_STYLE}</style></head>\n"
        f"<body><main><h1>{len(rows)} surveys</h1><p>{html.escape(told)}. Worst first.</p>\n"
        f"<ul>\n{cards}\n</ul></main></body></html>\n"
    )


def _card(row: Mapping[str, Any]) -> str:
    folder = str(row["folder"])
    state = html.escape(_WORDS[str(row["state"])])
    picture = ""
    if row["state"] != "failed":
        source = f"../{quote(folder)}/results/thumb.jpg"
        picture = f'<img src="{source}" alt="{html.escape(folder)}: its first wall" loading="lazy">'
    told = html.escape(str(row["error"] or row["sizes"] or "no wall yet"))
    after = f"<p>Next: {html.escape(str(row['next']))}.</p>" if row["next"] else ""
    if row["message"]:
        after += f'<p><a href="../{quote(folder)}/{quote(str(row["message"]))}">Message for the client</a></p>'
    return f"<li>{picture}<h2>{html.escape(folder)}</h2><p>{state}</p><p>{told}</p>{after}</li>"
