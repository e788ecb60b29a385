"""The page of a soak: the verdict first, then each figure with its limit, then how it went by the hour."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from lanternist.report.svg import line, rect, text

WIDTH, TALL, LEFT, BELOW = 180.0, 26.0, 16.0, 6.0
_STYLE = (
    "body { font: 15px/1.45 sans-serif; max-width: 50em; margin: 1.5em auto; padding: 0 1em; color: #111 }"
    "h1 { font-size: 1.3em; margin: 0 } .verdict { font-size: 2.2em; font-weight: bold; margin: .2em 0 }"
    ".failed { color: #b00020 } .passed { color: #12692c } table { border-collapse: collapse; width: 100% }"
    "td, th { text-align: left; vertical-align: top; padding: .25em .6em .25em 0; border-bottom: 1px solid #ccc }"
    "th { font-weight: normal; color: #555 } h2 { font-size: 1em; margin: 1.4em 0 .3em } "
    "svg { width: 100%; height: auto } "
    "code { background: #eee; padding: .1em .3em } .few { color: #555 }"
)
_MARKS = {True: "kept", False: "NOT KEPT", None: ""}


def html(soak: Mapping[str, Any]) -> str:
    """A page that needs nothing from elsewhere. soak: as `Soak.as_plain` gives it."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Soak: {escape(soak['title'])}</title><style>{_STYLE}</style></head><body>"
        f"{_head(soak)}{_figures(soak['lines'])}{_plots(soak)}{_lateness(soak['late'])}"
        f"{_counts('What the night did', soak['happened'])}{_counts('What it said, figures as n', soak['said'])}"
        "</body></html>\n"
    )


def _head(soak: Mapping[str, Any]) -> str:
    verdict, shade = ("Passed", "passed") if soak["passed"] else ("Failed", "failed")
    kind = "simulated" if soak["fast"] else "real"
    short = "" if soak["hours"] >= soak["asked_hours"] - 0.02 else f", of {soak['asked_hours']:g} that were asked for"
    return (
        f"<h1>{escape(soak['title'])}</h1><p class='verdict {shade}'>{verdict}</p>"
        f"<p>{soak['hours']:.2f} hours of {kind} time{short}; seed {soak['seed']}. The same again: "
        f"<code>{escape(soak['again'])}</code></p>"
    )


def _figures(lines: Sequence[Mapping[str, Any]]) -> str:
    rows = ""
    for one in lines:
        cells = "".join(f"<td>{escape(words)}</td>" for words in (one["what"], one["value"], one["limit"]))
        rows += f"<tr{' class=failed' if one['ok'] is False else ''}>{cells}<td>{_MARKS[one['ok']]}</td></tr>"
    return f"<table><tr><th></th><th>found</th><th>limit</th><th></th></tr>{rows}</table>"


def _plots(soak: Mapping[str, Any]) -> str:
    drawn = "".join(
        f"<h2>{escape(name)}</h2>{plot(points)}" for name, points in soak["series"].items() if len(points) > 1
    )
    return drawn or "<p class='few'>Too short for plots.</p>"


def plot(points: Sequence[tuple[float, float]]) -> str:
    """Values over hours: one line, its own scale at the left from the least to the most."""
    low, high = min(value for _, value in points), max(value for _, value in points)
    first, last = points[0][0], max(points[-1][0], points[0][0] + 1e-9)
    span = high - low or 1.0

    def place(hour: float, value: float) -> str:
        x = LEFT + (WIDTH - LEFT) * (hour - first) / (last - first)
        return f"{x:.2f} {1 + (TALL - 1) * (1 - (value - low) / span):.2f}"

    path = "M" + "L".join(place(*point) for point in _thinned(points))
    marks = [text(LEFT - 1.5, 4.0, f"{high:.3g}", 3.2, "end"), text(LEFT - 1.5, TALL, f"{low:.3g}", 3.2, "end")]
    marks += [text(LEFT, TALL + 4.5, f"{first:.2f} h", 3.2), text(WIDTH, TALL + 4.5, f"{last:.2f} h", 3.2, "end")]
    axes = line(LEFT, 1, LEFT, TALL, 0.2) + line(LEFT, TALL, WIDTH, TALL, 0.2)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {TALL + BELOW}">{axes}{"".join(marks)}'
        f'<path d="{path}" fill="none" stroke="#114488" stroke-width="0.45"/></svg>'
    )


def _thinned(points: Sequence[tuple[float, float]], most: int = 1500) -> Sequence[tuple[float, float]]:
    """As many points as can be seen, with the least and the most of each stretch."""
    step = max(1, len(points) // (most // 2))
    if step == 1:
        return points
    kept = []
    for at in range(0, len(points), step):
        stretch = points[at : at + step]
        ends = {min(stretch, key=lambda one: one[1]), max(stretch, key=lambda one: one[1])}
        kept += sorted(ends)
    return kept


def _lateness(late: Sequence[tuple[str, int]]) -> str:
    if not late:
        return ""
    total, tall = max(1, sum(count for _, count in late)), 5.0
    rows = []
    for row, (name, count) in enumerate(late):
        y, share = row * tall, count / total
        rows.append(text(LEFT + 8, y + 3.7, f"up to {name}" if name != "more" else name, 3.2, "end"))
        rows.append(rect(LEFT + 10, y + 0.6, max(0.1, 110 * share), tall - 1.2, "#114488", 0))
        rows.append(text(LEFT + 123, y + 3.7, f"{count} ({100 * share:.3f} %)", 3.2))
    size = f"0 0 {WIDTH} {len(late) * tall}"
    return (
        f'<h2>How late frames began</h2><svg xmlns="http://www.w3.org/2000/svg" viewBox="{size}">{"".join(rows)}</svg>'
    )


def _counts(title: str, counts: Mapping[str, int]) -> str:
    rows = sorted(((count, what) for what, count in counts.items() if count), key=lambda one: (-one[0], one[1]))
    body = "".join(f"<tr><td>{count}</td><td>{escape(what)}</td></tr>" for count, what in rows[:40])
    return f"<h2>{escape(title)}</h2><table>{body or '<tr><td>nothing</td></tr>'}</table>"
