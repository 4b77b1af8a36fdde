"""A chart as SVG text, drawn by matplotlib, the same bytes every time."""

from __future__ import annotations

import hashlib
import io
import re
from threading import Lock
from typing import Any

from halfsplit import svg
from halfsplit.pictures.circuit import STANDALONE
from halfsplit.pictures.series import Chart, Line

# Tones of at least 3 to 1 on white and on near-black; each line has its own dash or marker too.
TONES = ("#0e7490", "#c2410c", "#8b5cf6", "#4d7c0f", "#db2777", "#6b7280")
DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))
MARKERS = ("o", "s", "^", "D", "v", "P")
INK = "#010203"  # stands for the colour of the text around the chart
FONT = "DejaVu Sans"
_ONE_AT_A_TIME = Lock()  # matplotlib's settings are one for the whole process


def chart_svg(chart: Chart, standalone: bool = False, wide: float = 7.2, high: float = 3.4) -> str:
    """The chart as SVG text of `wide` by `high` inches at 72 px each, text kept as text."""
    with _ONE_AT_A_TIME:
        made = _drawn(chart, wide, high)
    return _tidy(made, chart, standalone)


def _drawn(chart: Chart, wide: float, high: float) -> str:
    import matplotlib as mpl
    from matplotlib.figure import Figure

    said = svg.clean(chart.title)
    settings: dict[str, Any] = {
        "svg.fonttype": "none",
        "svg.hashsalt": hashlib.sha256(said.encode()).hexdigest()[:12],
        "text.parse_math": False,
        "font.family": [FONT],
        "font.size": 9.0,
        "text.color": INK,
        "axes.edgecolor": INK,
        "axes.labelcolor": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "axes.spines.top": False,
        "axes.spines.right": False,
    }
    with mpl.rc_context(settings):  # type: ignore[arg-type]
        figure = Figure((wide, high), layout="constrained")
        axes = figure.subplots()
        axes.set_title(svg.clean(_short(chart.title, 80)), loc="left", fontsize=10)
        names = [_line(axes, line, k) for k, line in enumerate(chart.lines)]
        for mark in chart.marks:
            axes.axhline(mark.y, color=INK, linewidth=0.9, linestyle=(0, (6, 3)))
            axes.annotate(
                svg.clean(mark.words),
                (1.01, mark.y),
                xycoords=("axes fraction", "data"),
                ha="left",
                va="center",
                fontsize=8,
            )
        _scales(axes, chart)
        axes.grid(True, color=INK, alpha=0.15, linewidth=0.6)
        if len(names) > 1 or chart.marks:
            figure.legend(
                [h for h, _ in names],
                [svg.clean(_short(n, 32)) for _, n in names],
                loc="outside lower left",
                ncols=3,
                frameon=False,
                fontsize=8,
            )
        out = io.StringIO()
        nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
        figure.savefig(out, format="svg", transparent=True, metadata=nothing)
    return out.getvalue()


def _line(axes: Any, line: Line, k: int) -> tuple[Any, str]:
    tone = TONES[k % len(TONES)]
    if line.style == "bars":
        return axes.bar(line.x, line.y, color=tone, width=0.8), line.name
    look: dict[str, Any] = {"color": tone, "linewidth": 1.6}
    if line.style == "points":
        look |= {"linestyle": "none", "marker": MARKERS[k % len(MARKERS)], "markersize": 6}
    elif line.style == "steps":
        mark = MARKERS[k % len(MARKERS)]
        look |= {"drawstyle": "steps-post", "marker": mark, "markersize": 4}
        look |= {"linestyle": DASHES[k % len(DASHES)]}
    elif line.style == "dashed":
        look |= {"linestyle": DASHES[1 + k % (len(DASHES) - 1)]}
    return axes.plot(line.x, line.y, **look)[0], line.name


def _scales(axes: Any, chart: Chart) -> None:
    from matplotlib.ticker import EngFormatter, MaxNLocator

    if chart.log and all(y > 0 for line in chart.lines for y in line.y):
        axes.set_yscale("log")
    for axis, name, unit in (
        (axes.xaxis, chart.x_name, chart.x_unit),
        (axes.yaxis, chart.y_name, chart.y_unit),
    ):
        plain = unit in ("%", "min")
        axis.set_label_text(svg.clean(_short(f"{name} [{unit}]" if plain else name, 40)))
        if unit and not plain:
            axis.set_major_formatter(EngFormatter(unit))
        elif unit == "":
            axis.set_major_locator(MaxNLocator(integer=True))
    if chart.reach is not None:
        low, high = axes.get_ylim()
        axes.set_ylim(max(low, chart.reach[0]), min(high, chart.reach[1]))
    elif chart.y_unit == "%":
        axes.set_ylim(-3, 103)
    elif any(line.style == "bars" for line in chart.lines):
        axes.set_ylim(bottom=0)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _tidy(made: str, chart: Chart, standalone: bool) -> str:
    """Only the drawing: no document type, no ids nothing points at, ink in the page's colour."""
    body = made[made.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>", "", body, flags=re.DOTALL)
    used = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', body))
    body = re.sub(r' id="([^"]*)"', lambda m: m.group(0) if m.group(1) in used else "", body)
    body = body.replace(INK, "currentColor")
    inside = svg.title(_spoken(chart)) + (STANDALONE if standalone else "")
    return re.sub(
        r"<svg([^>]*)>",
        lambda m: f'<svg{m.group(1)} role="img" class="hs-chart">\n{inside}',
        body,
        count=1,
    )


def _spoken(chart: Chart) -> str:
    return ". ".join([chart.title, *chart.notes[:8]])
