"""Hands on the phone: the few gestures from which every journey is made."""

from playwright.sync_api import Locator, Page, expect


class Hands:
    """Drives the phone app by its test hooks (DEVELOPERS.md, 'Hooks for browser tests')."""

    def __init__(self, page: Page):
        self.page = page

    def on(self, screen: str) -> "Hands":
        """Wait until a screen is shown."""
        expect(self.page.locator(f'[data-screen="{screen}"]')).to_be_visible(timeout=15000)
        return self

    def part(self, hook: str, value: str) -> Locator:
        return self.page.locator(f'[data-{hook}="{value}"]')

    def press(self, act: str, within: Locator | None = None) -> None:
        (within or self.page).locator(f'[data-act="{act}"]:visible').first.click()

    def write(self, field: str, text: str) -> None:
        self.page.locator(f'main [name="{field}"]').fill(text)

    def type_number(self, text: str) -> None:
        """Type on the number pad, a press a digit."""
        for char in text:
            self.press(f"key-{char}")

    def pick(self, group: str, choice: str) -> None:
        """Choose one of a group of choices."""
        self.page.locator(f'[data-act="pick-{group}"][data-choice="{choice}"]').click()

    def open_case(self, description: str, layout: str, cylinders: str, complaint: str) -> None:
        self.on("cases").press("new-case")
        self.on("new-case").write("description", description)
        self.pick("layout", layout)
        self.pick("cylinders", cylinders)
        self.pick("supply", "electric")
        self.press("more-details")
        self.pick("complaints", complaint)
        self.press("save-case")
        self.on("case")

    def open_check(self, check: str) -> None:
        """From the case screen into a check, reading its cautions."""
        self.on("case")
        self.press("open-check", self.page.locator(f'.row[data-check="{check}"]'))
        self.on("check")
        if self.page.locator('[data-act="acknowledge"]').count():
            self.press("acknowledge")
        expect(
            self.page.locator('[data-act="next-step"], [data-act="next-check"], [data-act="to-case"]').first
        ).to_be_visible()

    def enter(self, quantity: str) -> Locator:
        row = self.page.locator(f'.quantity[data-quantity="{quantity}"]')
        self.press("enter", row)
        self.on("returns" if quantity == "injector_return" else "reading")
        return row

    def save_reading(self) -> None:
        """Save, and come back from the verdict to the check."""
        self.press("save-reading")
        self.on("verdict")
        self.press("to-check")
        self.on("check")

    def read_number(self, quantity: str, text: str) -> None:
        self.enter(quantity)
        self.type_number(text)
        self.save_reading()

    def read_choice(self, quantity: str, choice: str) -> None:
        self.enter(quantity)
        self.pick("value", choice)
        self.save_reading()

    def read_cylinders(self, quantity: str, values: list[str], seconds: str, state: str) -> None:
        self.enter(quantity)
        for value in [*values, seconds]:
            self.type_number(value)
            self.press("next-place")
        self.pick("state", state)
        self.save_reading()

    def to_case(self) -> None:
        self.press("back")
        self.on("case")

    def ledger(self) -> dict[str, str]:
        """Return {component: status} as the open case shows it."""
        rows = self.page.locator(".ledger-row")
        expect(rows.first).to_be_attached()
        return {row.get_attribute("data-component"): row.get_attribute("data-status") for row in rows.all()}
