"""The ledger as a drawing for pages and print: the fuel's way from tank to injectors and back.

The phone draws the same lines (static/js/parts/circuit.js; a test compares them). Each part carries shape, word and weight
of line, so that it can be read without colour; a reader of the screen hears a list with one item a part.
"""

from typing import NamedTuple

from markupsafe import Markup

from webapp.wording import HOLLOW, LEDGER, SHAPES

ROW = 72
WIDTH = 320
WORDS_X = 108
LONGEST_LINE = 22
FLOW = {"starts": "M62 45V72", "through": "M62 0V72", "ends": "M62 0V22"}
BACK = {"ends": "M14 14V72", "passes": "M14 0V72", "joins": "M14 0V72", "starts": "M14 0V22"}
TO_TANK = Markup('<path d="M14 14H48V34" stroke-dasharray="5 4" />')


class Part(NamedTuple):
    """`flow`: what the supply or pressure line does here; `back`: what the return line does."""

    id: str
    flow: str
    back: str
    draw: str


# in the order of the flow
PARTS = (
    Part("fuel", "starts", "ends", '<path d="M38 26V52H86V26" /><path d="M38 38H86" stroke-dasharray="5 4" />'),
    Part("supply", "through", "passes", '<path class="ground" d="M62 6L78 20L62 34L46 20Z" />'
         '<path d="M50 20H74" stroke-dasharray="4 3" /><circle class="ground" cx="62" cy="52" r="15" />'
         '<path class="solid" d="M54 58H70L62 67Z" />'),
    Part("metering_valve", "through", "passes", '<path d="M48 24Q60 36 48 48M76 24Q64 36 76 48" />'
         '<path d="M40 56L82 16M82 16L73 18M82 16L81 25" />'),
    Part("pump", "through", "passes", '<circle class="ground" cx="62" cy="36" r="23" />'
         '<path class="solid" d="M51 47H73L62 59Z" /><path d="M85 33H94M85 39H94" />'),
    Part("lines", "through", "passes", '<path d="M50 26H74M50 46H74" /><path class="ground" d="M54 30H70V42H54Z" />'),
    Part("sensor", "through", "passes", '<path d="M34 36H90" stroke-width="11" /><path d="M82 30V16" />'
         '<circle class="ground" cx="82" cy="11" r="9" /><path d="M78 15L86 7" />'),
    Part("regulator", "through", "joins", '<path class="ground" d="M46 20H78V52H46Z" />'
         '<path d="M72 36H52M52 36L59 31M52 36L59 41" /><path d="M78 26L84 30L78 34L84 38L78 42" />'
         '<path d="M46 36H14" stroke-dasharray="5 4" />'),
    Part("relief_valve", "through", "joins", '<path class="ground" d="M46 20H78V52H46Z" />'
         '<path d="M72 36H52M52 36L59 31M52 36L59 41" /><path d="M78 26L86 31L78 36L86 41L78 46" />'
         '<path d="M46 36H14" stroke-dasharray="5 4" />'),
    Part("injectors", "ends", "starts", '<path d="M38 22H86" /><path d="M40 22V46M54 22V46M70 22V46M84 22V46" />'
         '<path class="solid" d="M35 46H45L40 58ZM49 46H59L54 58ZM65 46H75L70 58ZM79 46H89L84 58Z" />'
         '<path d="M38 22H14" stroke-dasharray="5 4" />'),
    Part("control", "none", "none", '<path d="M40 18H84V54H40Z" />'
         '<path d="M48 18V8M62 18V8M76 18V8" stroke-dasharray="4 3" />'),
    Part("battery", "none", "none",
         '<path d="M40 24H84V54H40Z" /><path d="M48 24V17H56V24M68 24V17H76V24M47 38H57M67 38H77M72 33V43" />'),
)  # fmt: skip


def break_name(name: str) -> list[str]:
    """A name on one line or, when it is long, on two of about the same length."""
    words = name.split()
    if len(name) <= LONGEST_LINE or len(words) < 2:
        return [name]
    cuts = range(1, len(words))
    cut = min(cuts, key=lambda at: abs(len(" ".join(words[:at])) - len(" ".join(words[at:]))))
    return [" ".join(words[:cut]), " ".join(words[cut:])]


def draw_lines(part: Part) -> Markup:
    flow, back = FLOW.get(part.flow), BACK.get(part.back)
    drawn = Markup('<path d="{}" />').format(flow) if flow else Markup("")
    drawn += Markup('<path d="{}" stroke-dasharray="5 4" />').format(back) if back else Markup("")
    return drawn + (TO_TANK if part.back == "ends" else "")


def draw_words(row: dict) -> Markup:
    """Name, shape and word, to the right of the part."""
    lines = break_name(row["name"])
    top = 28 if len(lines) == 1 else 18
    texts = [
        Markup('<text class="part-name" x="{}" y="{}">{}</text>').format(WORDS_X, top + 20 * place, line)
        for place, line in enumerate(lines)
    ]
    base = top + 20 * len(lines) + 4
    kind = "part-shape hollow" if row["status"] in HOLLOW else "part-shape"
    shape = Markup('<path class="{}" transform="translate({} {}) scale(.8)" d="{}" />').format(
        kind, WORDS_X, base - 15, SHAPES[row["status"]]
    )
    word = Markup('<text class="part-word" x="{}" y="{}">{}</text>').format(WORDS_X + 26, base, LEDGER[row["status"]])
    return Markup("").join(texts) + shape + word


def draw_part(part: Part, row: dict, place: int) -> Markup:
    frame = Markup('<path class="part-frame" d="M28 2H{}V{}H28Z" />').format(WIDTH - 2, ROW - 2)
    return Markup(
        '<g role="listitem" class="part part-{}" data-part="{}" data-status="{}" transform="translate(0 {})"'
        ' aria-label="{}">{}{}{}{}</g>'
    ).format(
        row["status"], part.id, row["status"], place * ROW, f"{row['name']}: {LEDGER[row['status']].lower()}. {row['text']}",
        frame if row["status"] == "points_here" else "", draw_lines(part), Markup(part.draw), draw_words(row),
    )  # fmt: skip


def draw_circuit(ledger: list[dict] | None) -> Markup:
    """The whole picture; parts that this layout has not are not drawn. Empty without a ledger."""
    rows = {row["component"]: row for row in ledger or []}
    parts = [part for part in PARTS if part.id in rows]
    if not parts:
        return Markup("")
    drawn = Markup("").join(draw_part(part, rows[part.id], place) for place, part in enumerate(parts))
    return Markup(
        '<svg class="circuit" role="list" viewBox="0 0 {} {}" width="{}" height="{}" fill="none" stroke="currentColor"'
        ' aria-labelledby="circuit-title" aria-describedby="circuit-desc"><title id="circuit-title">The fuel circuit</title>'
        '<desc id="circuit-desc">From the tank to the injectors and back. Each part says whether it is ruled out,'
        " still open, pointed at or locked.</desc>{}</svg>"
    ).format(WIDTH, len(parts) * ROW, WIDTH, len(parts) * ROW, drawn)
