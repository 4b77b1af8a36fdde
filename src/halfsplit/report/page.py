"""A report as one HTML file that asks for nothing from outside, for screen and for printing."""

from __future__ import annotations

import re
from typing import Any

from halfsplit.svg import words

# Nothing may be fetched, whatever a browser would make of a line of user's text.
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
STYLE = """
:root{color-scheme:light dark;--ink:#1a1a1a;--paper:#fff;--line:#b8b8b8;--soft:#555;--head:#f1f1ee;
--warn:#7a2e00;--warnpaper:#fff4e5}
@media (prefers-color-scheme:dark){:root{--ink:#ececec;--paper:#161616;--line:#4a4a4a;
--soft:#b5b5b5;--head:#242424;--warn:#ffc38a;--warnpaper:#2c1f10}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.5rem;max-width:72rem;background:var(--paper);color:var(--ink);
font:16px/1.45 system-ui,"DejaVu Sans",sans-serif;overflow-wrap:anywhere}
h1{font-size:1.7rem;margin:0}
h2{font-size:1.25rem;margin:2rem 0 .6rem;padding-bottom:.2rem;border-bottom:2px solid var(--line)}
h3{font-size:1.02rem;margin:1.2rem 0 .4rem}
p.sub{margin:.2rem 0 1rem;color:var(--soft)}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.15rem 1rem;margin:0}
dt{color:var(--soft)}
dd{margin:0}
ul{margin:.4rem 0;padding-left:1.2rem}
ul.caution{list-style:none;padding:.5rem .8rem;border-left:6px solid var(--warn);
background:var(--warnpaper);color:var(--warn);font-weight:600}
ul.caution li::before{content:"Caution: "}
ul.small{color:var(--soft);font-size:.9rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%;margin:.5rem 0;font-size:.93rem}
th,td{border:1px solid var(--line);padding:.3rem .5rem;text-align:start;vertical-align:top}
th{background:var(--head)}
td:first-child{min-width:2.6rem}
td{min-width:4.5rem}
figure{margin:1rem 0;overflow-x:auto}
figure svg{display:block;max-width:100%;height:auto}
figcaption{color:var(--soft);font-size:.9rem}
footer{margin-top:2rem;color:var(--soft);font-size:.85rem;border-top:1px solid var(--line)}
@media print{:root{--ink:#000;--paper:#fff;--line:#999;--soft:#333;--head:#eee;--warn:#000;
--warnpaper:#fff}body{padding:0;max-width:none;font-size:10pt}h2,h3{break-after:avoid}
tr,figure{break-inside:avoid}thead{display:table-header-group}}
"""
CROWDED = 520  # letters from which a label is set smaller
LABEL = """
@page{size:105mm 74mm;margin:4mm}
.label{width:97mm;min-height:66mm;border:1px solid var(--line);padding:2mm;
font-size:7.5pt;line-height:1.2}
.label h1{font-size:12pt;margin-bottom:1mm}.label dl{gap:.3mm 2mm}
.label ul{margin:1mm 0 0;font-size:6.8pt;padding:.5mm 2mm;border-left-width:1mm}
.label.small{font-size:6.2pt}.label.small ul{font-size:5.8pt}.label.small h1{font-size:10pt}
body.one{padding:0;margin:0}
@media print{.label{border:0;padding:0}}
"""


def html(document: dict[str, Any]) -> str:
    """The page of a report or worksheet."""
    facts = "".join(f"<dt>{words(k)}</dt><dd>{_said(v)}</dd>" for k, v in document["facts"])
    body = [
        f"<header><h1>{_said(document['title'])}</h1>",
        f'<p class="sub">{_said(document["subtitle"])}</p><dl>{facts}</dl></header><main>',
    ]
    for section in document["sections"]:
        body.append(f"<section><h2>{words(section['title'])}</h2>")
        body += [_block(b) for b in section["blocks"]]
        body.append("</section>")
    body.append(f"</main><footer><p>{_said(document['foot'])}</p></footer>")
    return _whole(document["title"], STYLE, body)


def label_html(label: dict[str, Any]) -> str:
    """The page of a label, A7."""
    rows = "".join(f"<dt>{words(k)}</dt><dd>{_said(v)}</dd>" for k, v in label["rows"])
    hazards = "".join(f"<li>{_said(t)}</li>" for t in label["hazards"])
    said = sum(len(v) for _, v in label["rows"]) + sum(map(len, label["hazards"]))
    size = "label" if said < CROWDED else "label small"
    body = [
        f'<main class="{size}"><h1>{_said(label["title"])}</h1><dl>{rows}',
        f"<dt>contact</dt><dd>{words(label['contact'])}</dd></dl>",
        f'<ul class="caution">{hazards}</ul>' if hazards else "",
        "</main>",
    ]
    return _whole(label["title"], STYLE + LABEL, body, "one")


def _whole(title: str, style: str, body: list[str], kind: str = "") -> str:
    return "\n".join(
        [
            '<!doctype html><html lang="en"><head><meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            '<meta name="viewport" content="width=device-width,initial-scale=1">',
            f"<title>{words(title)}</title><style>{style}</style></head>",
            f'<body class="{kind}">' if kind else "<body>",
            *body,
            "</body></html>",
            "",
        ]
    )


def _said(text: str) -> str:
    """User's text, in whichever direction its script runs, without turning what stands beside."""
    return f'<bdi dir="auto">{words(text)}</bdi>'


def _block(block: dict[str, Any]) -> str:
    if block["kind"] == "head":
        return "".join(f"<h3>{_said(t)}</h3>" for t in block["lines"])
    if block["kind"] == "table":
        head = "".join(f'<th scope="col">{words(h)}</th>' for h in block["head"])
        rows = "".join(
            "<tr>" + "".join(f"<td>{_said(c)}</td>" for c in row) + "</tr>" for row in block["rows"]
        )
        return (
            '<div class="wide" tabindex="0"><table>'
            f"<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
        )
    if block["kind"] == "picture":
        drawn = bare(block["svg"])
        return f"<figure>{drawn}<figcaption>{_said(block['caption'])}</figcaption></figure>"
    kind = "" if block["kind"] == "text" else f' class="{block["kind"]}"'
    if kind == "" and len(block["lines"]) == 1:
        return f"<p>{_said(block['lines'][0])}</p>"
    return f"<ul{kind}>" + "".join(f"<li>{_said(t)}</li>" for t in block["lines"]) + "</ul>"


def bare(svg: str) -> str:
    """A drawing for the middle of a page, which needs no names of namespaces."""
    return re.sub(r' xmlns(?::\w+)?="[^"]*"', "", svg)
