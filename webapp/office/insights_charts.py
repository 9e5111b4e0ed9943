"""Small drawings for the page of insights: bars by month, stated beside come true, readings beside limits, weights.

Own SVG as in `circuit.py`, not matplotlib: four plain shapes in the page's own ink, letters and themes. Every drawing has
a title and a description, and a table beside it holds the same numbers.
"""

from collections.abc import Callable

from markupsafe import Markup

from webapp.store.insights import Month
from webapp.store.insights_learning import Bin, Weight
from webapp.store.insights_limits import Proposal

WIDTH = 320
LEFT, RIGHT, TOP = 40, 10, 12
PLOT = 160
MOST_WEIGHTS = 8
MOST_DOTS = 200
LONGEST_NAME = 34  # what has room; the table has it whole
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def frame(name: str, title: str, text: str, height: int, drawn: Markup) -> Markup:
    """`name` makes the ids unique in the page."""
    return Markup(
        '<svg class="chart" role="img" viewBox="0 0 {} {}" aria-labelledby="{}-title" aria-describedby="{}-desc">'
        '<title id="{}-title">{}</title><desc id="{}-desc">{}</desc>{}</svg>'
    ).format(WIDTH, height, name, name, name, title, name, text, drawn)


def label(x: float, y: float, text: str, anchor: str = "middle") -> Markup:
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>').format(x, y, anchor, text)


def path(kind: str, d: str) -> Markup:
    return Markup('<path class="{}" d="{}" />').format(kind, d)


def scale(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    """From a value to its place; everything in the middle where there is no span."""
    if high <= low:
        return lambda value: (start + end) / 2
    return lambda value: start + (value - low) / (high - low) * (end - start)


def shorten(name: str) -> str:
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"


def month_name(name: str) -> str:
    """`2026-11` as `Nov`; a label that is no month as it is."""
    number = name[5:7]
    return MONTHS[int(number) - 1] if number.isdecimal() and 1 <= int(number) <= 12 else name


def draw_months(months: list[Month]) -> Markup:
    """Jobs as open bars, those with a cleared pump as solid ones inside them."""
    if not months:
        return Markup("")
    most = max(row.jobs for row in months)
    y = scale(0, most, TOP + PLOT, TOP)
    step = (WIDTH - LEFT - RIGHT) / len(months)
    bar = min(0.7 * step, 40)
    drawn = path("grid", f"M{LEFT} {TOP + PLOT}H{WIDTH - RIGHT}") + label(LEFT - 6, TOP + PLOT + 6, "0", "end")
    drawn += path("grid", f"M{LEFT} {TOP}H{WIDTH - RIGHT}") + label(LEFT - 6, TOP + 6, str(most), "end")
    every = -(-len(months) // 4)  # four names have room
    for place, row in enumerate(months):
        x = LEFT + (place + 0.5) * step
        for kind, count in (("open", row.jobs), ("solid", row.cleared)):
            drawn += path(kind, f"M{x - bar / 2:.1f} {TOP + PLOT}V{y(count):.1f}H{x + bar / 2:.1f}V{TOP + PLOT}Z")
        if place % every == 0:
            drawn += label(x, TOP + PLOT + 22, month_name(row.name))
    text = f"{len(months)} months; the tallest bar is {most} jobs. Open bars: jobs. Solid bars: those with the pump cleared."
    return frame("months", "Jobs and cleared pumps by month", text, TOP + PLOT + 30, drawn)


def draw_reliability(bins: list[Bin]) -> Markup:
    """Stated probability across, share that came true upwards with its interval; the line is where both agree."""
    filled = [row for row in bins if row.jobs]
    if not filled:
        return Markup("")
    x, y = scale(0, 1, LEFT, WIDTH - RIGHT), scale(0, 1, TOP + PLOT, TOP)
    drawn = path("grid", f"M{x(0)} {y(0)}H{x(1)}M{x(0)} {y(1)}H{x(1)}") + path("now", f"M{x(0)} {y(0)}L{x(1)} {y(1)}")
    for share in (0, 0.5, 1):
        drawn += label(x(share), y(0) + 22, f"{100 * share:.0f}", "end" if share == 1 else "middle")
        drawn += label(LEFT - 6, y(share) + 6, f"{100 * share:.0f}", "end")
    for row in filled:
        stated = x(row.stated or 0)
        drawn += path("range", f"M{stated:.1f} {y(row.low_share or 0):.1f}V{y(row.high_share or 0):.1f}")
        drawn += Markup('<circle class="solid" cx="{:.1f}" cy="{:.1f}" r="6" />').format(stated, y(row.hits / row.jobs))
    drawn += label((LEFT + WIDTH) / 2, y(0) + 46, "stated, %")
    text = "Each dot is a row of the table: stated probability across, share that came true upwards, both in per cent."
    text += " The bar through it is a 95 % interval. On the dashed line both agree."
    return frame("reliability", "Stated probability and what came true", text, TOP + PLOT + 54, drawn)


def draw_strip(row: Proposal, name: str) -> Markup:
    """The readings of one quantity as ticks; dashed the limits now, full the limits proposed."""
    edges = [value for value in (*row.now, row.low, row.high, row.values[0], row.values[-1]) if value is not None]
    x = scale(min(edges), max(edges), RIGHT, WIDTH - RIGHT)
    few = row.values[:: -(-len(row.values) // MOST_DOTS)]
    drawn = path("grid", f"M0 34H{WIDTH}") + path("tick", "".join(f"M{x(value):.1f} 26V42" for value in few))
    for kind, values in (("now", row.now), ("range", (row.low, row.high))):
        drawn += path(kind, "".join(f"M{x(value):.1f} 8V60" for value in values if value is not None))
    text = "Each tick is one vehicle. Dashed lines: the limits now. Full lines: the limits proposed, where there are any."
    return frame(name, "Readings of sound vehicles and limits", text, 64, drawn)


def draw_weights(weights: list[Weight], names: dict[str, str]) -> Markup:
    """The faults that change most, or are most likely: an open dot as it comes, a solid one with the confirmed repairs."""
    rows = sorted(weights, key=lambda row: (-abs(row.after - row.before), row.fault))[:MOST_WEIGHTS]
    if not any(row.seen for row in weights):
        return Markup("")
    x = scale(0, max(max(row.before, row.after) for row in rows), 8, WIDTH - 8)
    drawn = Markup("")
    for place, row in enumerate(rows):
        base = 20 + 50 * place
        ends = sorted((x(row.before), x(row.after)))
        drawn += label(0, base, shorten(names.get(row.fault, row.fault)), "start") + path("grid", f"M0 {base + 16}H{WIDTH}")
        drawn += path("range", f"M{ends[0]:.1f} {base + 16}H{ends[1]:.1f}")
        for kind, share in (("open", row.before), ("solid", row.after)):
            drawn += Markup('<circle class="{}" cx="{:.1f}" cy="{}" r="6" />').format(kind, x(share), base + 16)
    text = "The faults whose weight moves most. Open dot: as it comes with the program. Solid dot: with confirmed repairs."
    return frame("weights", "Weights of faults before and after", text, 20 + 50 * len(rows), drawn)
