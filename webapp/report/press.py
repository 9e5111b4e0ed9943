"""The typesetter: its own fonts, no file and no font of the machine, so a report is the same everywhere."""

from datetime import datetime

import typst

FONTS = typst.Fonts(include_system_fonts=False)
STANDARDS = ["a-2a", "ua-1"]  # readable in twenty years, and by a screen reader


class NotPrinted(Exception):
    """The typesetter refused; `text` names every place."""

    def __init__(self, text: str):
        super().__init__(text)
        self.text = text


def print_pdf(files: dict[str, bytes], moment: datetime | None = None, standards: list[str] | None = None) -> bytes:
    """The PDF of `main.typ` among these files. *Refuses* with NotPrinted."""
    try:
        # the stub of typst does not know files in memory
        return typst.compile(files, font_paths=FONTS, format="pdf", timestamp=moment, pdf_standards=standards or [])  # type: ignore
    except typst.TypstError as problem:
        raise NotPrinted(problem.diagnostic) from None
