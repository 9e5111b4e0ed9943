"""A recorded rise drawn for paper: the curve, the start of cranking, the pressures that it was timed to, and in words."""

import math

from markupsafe import Markup

WIDTH, HEIGHT = 640, 300
LEFT, RIGHT, TOP, BOTTOM = 56, 12, 16, 44
MOST_TICKS = 6
BEYOND_PAPER = 1e6  # what a broken phone may send: no drawing then, the words stay
SOURCES = {"trace": "Recorded trace", "film": "Film"}
STARTS = {
    "battery_voltage": "found from the battery voltage",
    "starter_current": "found from the starter current",
    "pressure": "taken from the pressure itself",
    "hand": "set by hand",
    "picture": "seen in the film",
    "sound": "heard in the film",
}


def nice_step(span: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that gives at most MOST_TICKS ticks."""
    power = 10.0 ** math.floor(math.log10(span / MOST_TICKS))
    return next(step * power for step in (1, 2, 5, 10, 20) if span / (step * power) <= MOST_TICKS)


def ticks_between(low: float, high: float) -> list[float]:
    step = nice_step(high - low)
    return [i * step for i in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


class Paper:
    """From seconds after the start and bar to places on the drawing."""

    def __init__(self, points: list, targets: list):
        self.x0, self.x1 = min(points[0][0], -0.05), max(points[-1][0], 0.05)
        self.y0 = min(0.0, *(bar for _, bar in points))
        self.y1 = 1.08 * max(1.0, *(bar for _, bar in points), *(bar for bar, _ in targets))

    def x(self, second: float) -> float:
        return round(LEFT + (second - self.x0) / (self.x1 - self.x0) * (WIDTH - LEFT - RIGHT), 1)

    def y(self, bar: float) -> float:
        return round(TOP + (self.y1 - bar) / (self.y1 - self.y0) * (HEIGHT - TOP - BOTTOM), 1)


def draw_axes(paper: Paper) -> Markup:
    drawn = Markup("")
    for second in ticks_between(paper.x0, paper.x1):
        x = paper.x(second)
        drawn += Markup('<path class="grid" d="M{} {}V{}" />').format(x, TOP, HEIGHT - BOTTOM)
        drawn += Markup('<text text-anchor="middle" x="{}" y="{}">{}</text>').format(x, HEIGHT - BOTTOM + 18, f"{second:g}")
    for bar in ticks_between(paper.y0, paper.y1):
        y = paper.y(bar)
        drawn += Markup('<path class="grid" d="M{} {}H{}" />').format(LEFT, y, WIDTH - RIGHT)
        drawn += Markup('<text text-anchor="end" x="{}" y="{}">{}</text>').format(LEFT - 8, y + 5, f"{bar:g}")
    words = '<text text-anchor="middle" x="{}" y="{}">seconds from the start of cranking, bar</text>'
    return drawn + Markup(words).format((LEFT + WIDTH) / 2, HEIGHT - 6)


def draw_targets(paper: Paper, targets: list) -> Markup:
    drawn = Markup("")
    for bar, second in targets:
        down = Markup("M{} {}V{}").format(paper.x(second), paper.y(bar), paper.y(paper.y0)) if second is not None else ""
        path = '<path class="target" stroke-dasharray="8 5" d="M{} {}H{}{}" />'
        drawn += Markup(path).format(LEFT, paper.y(bar), WIDTH - RIGHT, down)
        # on the side of the line where the curve does not end
        base = paper.y(bar) + (-5 if second is None else 17)
        words = '<text class="label" text-anchor="end" x="{}" y="{}">{} bar</text>'
        drawn += Markup(words).format(WIDTH - RIGHT - 6, base, f"{bar:g}")
    return drawn


def draw_rise(rise: dict, caption: str) -> Markup:
    """The drawing of one recorded rise; empty where there is no curve that can be drawn."""
    points = [(t - rise["start_s"], bar) for t, bar in rise["points"] if bar is not None]
    figures = [abs(figure) for point in points for figure in point] + [abs(bar) for bar, _ in rise["times"]]
    if len(points) < 2 or max(figures) > BEYOND_PAPER:
        return Markup("")
    paper = Paper(points, rise["times"])
    line = " ".join(f"{paper.x(second)},{paper.y(bar)}" for second, bar in points)
    start = Markup('<path class="start" d="M{} {}V{}" /><text class="label" x="{}" y="{}">start</text>').format(
        paper.x(0.0), TOP, HEIGHT - BOTTOM, paper.x(0.0) + 5, TOP + 12
    )
    return Markup('<svg class="rise" role="img" viewBox="0 0 {} {}" aria-label="{}">{}{}{}{}</svg>').format(
        WIDTH, HEIGHT, caption, draw_axes(paper), draw_targets(paper, rise["times"]),
        Markup('<polyline class="curve" points="{}" />').format(line), start,
    )  # fmt: skip


def write_start(rise: dict) -> str:
    words = STARTS.get(rise["start_from"], rise["start_from"])
    found = rise.get("found_start_s")
    if found is None:
        return f"Start of cranking {words}."
    return f"Start of cranking {words}, {abs(rise['start_s'] - found):.2f} s from where it was found."


def write_caption(rise: dict) -> str:
    times = [f"{bar:g} bar {'not reached' if s is None else f'after {s:.2f} s'}" for bar, s in rise["times"]]
    name = f" “{rise['name']}”" if rise.get("name") else ""
    after = ", after the repair" if rise.get("phase") == "after_repair" else ""
    return f"{SOURCES[rise['source']]}{name}{after}: {', '.join(times)}. {write_start(rise)}"


def lay_out_rises(rises: list[dict], voided: list[dict]) -> list[dict]:
    """Rows {svg, caption, warnings, struck, by, at} in the order of the record."""
    gone = {row["id"] for row in voided}
    rows = []
    for rise in rises:
        caption = write_caption(rise)
        struck = bool(gone & set(rise.get("readings") or []))
        rows.append({**rise, "svg": draw_rise(rise, caption), "caption": caption, "struck": struck})
    return rows
