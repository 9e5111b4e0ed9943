"""A case's photos made small enough for paper; a photo that is not there is said, never an error."""

from base64 import b64encode
from io import BytesIO

from PIL import Image, ImageOps

from webapp.store import photos
from webapp.store.refusals import Refusal
from webapp.store.scope import Workshop
from webapp.store.shelves import Shelf
from webapp.wording import write_day_and_time

MOST_PICTURES = 12
LONGEST_SIDE = 1200  # about 300 dots an inch at the width at which they are printed
QUALITY = 80
WAITING = "Still on the phone when this report was made."
GONE = "The picture's file is missing on the server; look for it in a backup."
SPOILT = "The picture's file on the server is damaged; look for it in a backup."


def shrink(data: bytes) -> Image.Image | None:
    """The picture upright, in RGB and small; None for bytes that are no picture (any more)."""
    try:
        with Image.open(BytesIO(data)) as image:
            image.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
            upright = ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return upright


def wrap(picture: Image.Image) -> str:
    """An SVG that holds the picture as JPEG: the one way in which the typesetter takes a picture from memory."""
    made = BytesIO()
    picture.save(made, "JPEG", quality=QUALITY)
    width, height = picture.size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}"><image width="{width}" height="{height}" '
        f'href="data:image/jpeg;base64,{b64encode(made.getvalue()).decode()}"/></svg>'
    )


def read_picture(workshop: Workshop, shelf: Shelf, row: dict) -> tuple[str, str]:
    """The picture as SVG and nothing, or nothing and why it is not shown."""
    if not row["arrived"]:
        return "", WAITING
    try:
        data, _ = photos.read_photo(workshop, shelf, row["sha256"])
    except Refusal:
        return "", GONE
    small = shrink(data)
    return (wrap(small), "") if small else ("", SPOILT)


def lay_out_pictures(workshop: Workshop, shelf: Shelf, rows: list[dict]) -> list[dict]:
    """Rows {svg, caption, alt, missing, seal} for the template."""
    laid = []
    for row in rows[:MOST_PICTURES]:
        svg, missing = read_picture(workshop, shelf, row)
        caption = row.get("caption") or "No caption"
        stamp = f"{row['by']}, {write_day_and_time(row.get('at'))}"
        words = {"caption": f"{caption}. {stamp}", "alt": f"Photo: {caption}", "missing": missing}
        laid.append({"svg": svg, "seal": row["sha256"], **words})
    if left := rows[MOST_PICTURES:]:
        words = {"caption": f"{len(left)} more in the record.", "missing": "Not printed here."}
        laid.append({"svg": "", "alt": "", "seal": "", **words})
    return laid
