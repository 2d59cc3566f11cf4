"""Charts as SVG that stands in a page: drawn by Matplotlib, in the colors and the typeface of the page.

What Matplotlib draws in one of `INKS` takes the token of that name, so that a chart follows light, dark and
print. The page's policy allows no styles inside, so they become attributes.
"""

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from threading import Lock, Thread
from typing import Any

from markupsafe import Markup, escape

INKS: Mapping[str, str] = {
    "ink": "#010101",
    "soft": "#020202",
    "line": "#030303",
    "mark": "#040404",
    "ghost": "#050505",
    "range": "#060606",
    "danger": "#070707",
}
"""Token of the style sheet -> the color that stands for it while a chart is drawn."""

_STYLE = re.compile(r' style="([^"]*)"')
_HEAD = re.compile(r"^.*?<svg[^>]*?viewBox=\"([^\"]*)\"[^>]*>", re.DOTALL)
_NOT_SHOWN = re.compile(r"<(metadata|defs)>\s*(?:<rdf.*?|<style.*?)</\1>", re.DOTALL)
_IDS = re.compile(r'(id="|url\(#|href="#)')
POINTS = 72
EDGE = 16  # points kept free above, and on the right
_ONE_AT_A_TIME = Lock()
"""Matplotlib's settings are one for all threads."""


def make_ready_aside() -> None:
    """Imports in a thread of its own what charts take, and draws one, so that no page waits for it."""
    Thread(target=_make_ready, daemon=True).start()


def _make_ready() -> None:
    import scipy.special  # noqa: F401  # for what is drawn

    with drawn("ready", "", 90, 90):
        pass


@contextmanager
def drawn(
    name: str, title: str, width: float, height: float, margins: tuple[float, float] = (50, 44)
) -> Iterator[tuple[Any, list[Markup]]]:
    """Axes to draw in, and a list that holds the chart afterwards. Sizes are in points.

    `margins` are those on the left and below, which labels stand in; to have them worked out takes as long
    as to draw twice.

    `name` is unlike those of the page's other charts; `title` is read to those who do not see it.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_svg import (
        FigureCanvasSVG,  # takes half a second, for pages with charts only
    )
    from matplotlib.figure import Figure

    settings: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": name,
        "font.size": 13,
        "text.color": INKS["ink"],
        "axes.labelcolor": INKS["soft"],
        "axes.edgecolor": INKS["line"],
        "xtick.color": INKS["soft"],
        "ytick.color": INKS["soft"],
        "axes.spines.top": False,
        "axes.spines.right": False,
    }
    found: list[Markup] = []
    with _ONE_AT_A_TIME, mpl.rc_context(settings):
        figure = Figure(figsize=(width / POINTS, height / POINTS))
        FigureCanvasSVG(figure)
        left, below = margins
        inside = (left / width, below / height, 1 - (left + EDGE) / width, 1 - (below + EDGE) / height)
        axes = figure.add_axes(inside)
        yield axes, found
        written = io.StringIO()
        figure.savefig(written, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    found.append(_in_page(written.getvalue(), name, title))


def _in_page(svg: str, name: str, title: str) -> Markup:
    svg = _NOT_SHOWN.sub("", svg)
    head = (
        f'<svg class="chart" viewBox="\\1" role="img" aria-label="{escape(title)}" '
        'stroke-linejoin="round" stroke-linecap="butt" font-family="inherit">'
    )
    svg = _HEAD.sub(head, svg, count=1)
    svg = _STYLE.sub(lambda style: _as_attributes(style[1]), svg)
    for token, color in INKS.items():
        svg = svg.replace(color, f"var(--{token})")
    return Markup(_IDS.sub(rf"\g<1>{name}-", svg))


def _as_attributes(style: str) -> str:
    """`fill: #fff; font: 11px ...` as attributes; fonts are the page's."""
    found = []
    for part in filter(None, map(str.strip, style.split(";"))):
        key, _, value = part.partition(":")
        if key == "font":
            size = re.search(r"([\d.]+)px", value)
            found.append(f' font-size="{size[1]}"' if size else "")
        elif key != "font-family":
            found.append(f' {key}="{value.strip()}"')
    return "".join(found)


def trend(name: str, title: str, values: Sequence[float | None], usual: tuple[float, float] | None) -> Markup:
    """A small line of the weeks, oldest first, over the usual range; the last one is marked."""
    with drawn(name, title, 190, 48, (6, 2)) as (axes, found):
        axes.set_axis_off()
        known = [(place, value) for place, value in enumerate(values) if value is not None]
        if usual is not None:
            axes.axhspan(max(0.0, usual[0]), max(0.0, usual[1]), color=INKS["range"], linewidth=0)
        if known:
            axes.plot(*zip(*known, strict=True), color=INKS["mark"], linewidth=1.6, clip_on=False)
            axes.plot(*known[-1], marker="o", color=INKS["mark"], markersize=5, clip_on=False)
        axes.set_ylim(bottom=0)
        axes.set_xlim(-0.5, len(values) - 0.5)
    return found[0]


def reliability(title: str, across: str, up: str, bins: Sequence[Any]) -> Markup:
    with drawn("reliability", title, 360, 300) as (axes, found):
        axes.plot([0, 100], [0, 100], color=INKS["ghost"], linewidth=1)
        for one in bins:
            axes.vlines(100 * one.chance, 100 * one.low, 100 * one.high, color=INKS["ghost"], linewidth=3)
            axes.plot(100 * one.chance, 100 * one.share, marker="o", color=INKS["mark"], markersize=7)
        axes.set(xlim=(0, 100), ylim=(0, 103), xlabel=across, ylabel=up)
    return found[0]


def scores(
    title: str, across: str, up: str, names: tuple[str, str], days: Sequence[str], found: Sequence[Any]
) -> Markup:
    """Log loss and Brier score by period; `days` are their first ones as words."""
    with drawn("scores", title, 420, 300, (66, 44)) as (axes, chart):
        looks = (("log_loss", "mark", "-", "o"), ("brier", "danger", "--", "D"))
        for name, (of, ink, line, marker) in zip(names, looks, strict=True):
            known = [(place, getattr(one, of)) for place, one in enumerate(found)]
            axes.plot(
                [place for place, _ in known],
                [float("nan") if value is None else value for _, value in known],
                color=INKS[ink],
                linestyle=line,
                marker=marker,
                markersize=5,
                label=name,
            )
        shown = sorted({0, len(days) // 2, len(days) - 1})
        axes.set_xticks(shown, [days[place] for place in shown])
        for label, side in zip(axes.get_xticklabels(), ("left", "center", "right"), strict=False):
            label.set_ha(side if len(shown) > 1 else "center")
        axes.set(xlabel=across, ylabel=up, xlim=(-0.5, len(days) - 0.5))
        axes.set_ylim(bottom=0)
        axes.legend(frameon=False)
    return chart[0]


def funnel(
    title: str, across: str, up: str, places: Sequence[Any], share: float, limits: Mapping[int, float]
) -> Markup:
    with drawn("funnel", title, 420, 300) as (axes, found):
        counts = sorted(limits)
        axes.plot(counts, [100 * limits[count] for count in counts], color=INKS["ghost"], linewidth=1.2)
        axes.axhline(100 * share, color=INKS["line"], linewidth=1)
        for above, marker, ink, size in ((False, "o", "mark", 5), (True, "D", "danger", 7)):
            # Of those with the same numbers one is drawn.
            some = {(place.reports, 100 * place.share) for place in places if place.stands_out is above}
            axes.plot(
                *(zip(*sorted(some), strict=True) if some else ([], [])),
                linestyle="none",
                marker=marker,
                color=INKS[ink],
                markersize=size,
            )
        axes.set(ylim=(0, 103), xlabel=across, ylabel=up)
        axes.set_xlim(left=0)
    return found[0]


def waiting(title: str, across: str, up: str, groups: Sequence[tuple[str, Any]]) -> Markup:
    with drawn("waiting", title, 420, 300) as (axes, found):
        looks = zip(groups, (("mark", "-"), ("danger", "--")), strict=False)
        for (label, group), (ink, line) in looks:
            axes.step(
                [0, *group.hours],
                [100, *(100 * share for share in group.shares)],
                where="post",
                color=INKS[ink],
                linestyle=line,
                label=label,
            )
        axes.set(ylim=(0, 103), xlabel=across, ylabel=up)
        axes.set_xlim(0, 96)
        axes.legend(frameon=False)
    return found[0]
