"""Injector return drawn for paper: a bar a cylinder, before and after a repair, and in words for who does not see it."""

from typing import NamedTuple

from markupsafe import Markup

from webapp.report.rise import BEYOND_PAPER

WIDTH, LEFT, RIGHT = 640, 120, 190
ROW, TOP = 30, 8
QUANTITY = "injector_return"
PHASES = {"before": "before", "after_repair": "after the repair"}


class Bar(NamedTuple):
    name: str
    rate_ml_min: float
    is_outside: bool


def list_bars(verdict: dict) -> list[Bar]:
    """The cylinders of one judged reading, in mL/min; empty where the engine gave no rates."""
    detail = verdict.get("detail") or {}
    outside = detail.get("cylinders") or []
    return [Bar(f"Cylinder {i}", rate, i in outside) for i, rate in enumerate(detail.get("rates") or [], start=1)]


def write_words(bar: Bar) -> str:
    return f"{bar.rate_ml_min:.0f} mL/min{', outside' if bar.is_outside else ''}"


def draw_bar(bar: Bar, y: float, per_ml_min: float) -> Markup:
    """An outside bar is solid, the others are hollow: seen without colour."""
    end = LEFT + max(2.0, bar.rate_ml_min * per_ml_min)
    name = Markup('<text text-anchor="end" x="{}" y="{}">{}</text>').format(LEFT - 10, y + 19, bar.name)
    path = Markup('<path d="M{} {}H{:.1f}V{}H{}Z" stroke-width="1.5"{} />').format(
        LEFT, y + 5, end, y + 23, LEFT, Markup(' fill="currentColor"') if bar.is_outside else ""
    )
    kind = Markup('class="label" ') if bar.is_outside else ""
    return name + path + Markup('<text {}x="{:.1f}" y="{}">{}</text>').format(kind, end + 8, y + 19, write_words(bar))


def draw_returns(bars: list[Bar], caption: str, greatest: float) -> Markup:
    height = 2 * TOP + ROW * len(bars)
    drawn = Markup("").join(
        draw_bar(bar, TOP + ROW * place, (WIDTH - LEFT - RIGHT) / greatest) for place, bar in enumerate(bars)
    )
    axis = Markup('<path class="start" d="M{} {}V{}" />').format(LEFT, TOP, height - TOP)
    return Markup('<svg class="rise" role="img" viewBox="0 0 {} {}" aria-label="{}">{}{}</svg>').format(
        WIDTH, height, caption, drawn, axis
    )


def lay_out_returns(verdicts: list[dict]) -> list[dict]:
    """The last reading of each phase as {svg, caption}, both on one scale so that they can be compared by eye."""
    latest = {row["phase"]: row for row in verdicts if row["quantity"] == QUANTITY}
    charts = [(phase, list_bars(latest[phase])) for phase in PHASES if phase in latest]
    rates = [bar.rate_ml_min for _, bars in charts for bar in bars]
    if not rates or max(rates) > BEYOND_PAPER:
        return []
    rows = []
    for phase, bars in charts:
        words = "; ".join(f"{bar.name.lower()} {write_words(bar)}" for bar in bars)
        caption = f"Injector return {PHASES[phase]}: {words}. Limit: {latest[phase]['limit_text']}."
        rows.append({"svg": draw_returns(bars, caption, max(*rates, 1.0)), "caption": caption})
    return rows
