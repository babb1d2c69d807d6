"""The batch's page of thumbnails: one self-contained HTML file beside the summary."""

from __future__ import annotations

import html
from collections.abc import Collection, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from intake.batch_work import outcome_words

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
    "done": "✓ measured",
}
_COUNTED = {"failed": "could not be read", "stop": "to stop at", "proposed": "to confirm", "done": "measured"}


def batch_page(rows: Sequence[Mapping[str, Any]], *, pictured: Collection[str]) -> str:
    """Return the page that shows a batch's surveys, in the given order.

    Parameters
    ----------
    rows
        Rows of the summary.
    pictured
        Folders that have a small picture.
    """
    counts = {state: sum(row["state"] == state for row in rows) for state in _COUNTED}
    told = ", ".join(f"{count} {_COUNTED[state]}" for state, count in counts.items() if count)
    cards = "\n".join(_card(row, pictured=row["folder"] in pictured) for row in rows)
    return (
        '<!doctype html>\n<html lang="en-GB"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{len(rows)} surveys</title><style>{_STYLE}</style></head>\n"
        f"<body><main><h1>{len(rows)} surveys</h1>\n"
        f"<p>{html.escape(told)}. Worst first; lengths in millimetres. Drawings, cutting plan and order of one:"
        " <code>perpend report FOLDER</code>.</p>\n"
        f"<ul>\n{cards}\n</ul></main></body></html>\n"
    )


def _card(row: Mapping[str, Any], *, pictured: bool) -> str:
    folder = str(row["folder"])
    state = html.escape(_WORDS[str(row["state"])])
    picture = ""
    if pictured:
        source = f"../{quote(folder)}/results/thumb.jpg"
        picture = f'<img src="{source}" alt="{html.escape(folder)}: its first wall" loading="lazy">'
    lines = [str(row["error"] or row["sizes"] or "no wall yet"), *outcome_words(dict(row))]
    told = "</p><p>".join(html.escape(line[0].upper() + line[1:] if k else line) for k, line in enumerate(lines))
    after = f"<p>Next: {html.escape(str(row['next']))}.</p>" if row["next"] else ""
    if row["message"]:
        after += f'<p><a href="../{quote(folder)}/{quote(str(row["message"]))}">Message for the client</a></p>'
    return f"<li>{picture}<h2>{html.escape(folder)}</h2><p>{state}</p><p>{told}</p>{after}</li>"
