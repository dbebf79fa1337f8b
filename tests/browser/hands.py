"""Hands on the workbook in a page: what a person does with it and reads off it."""

import contextlib
import time

MINUS = "\N{MINUS SIGN}"

def turn_said(degrees: float, words) -> str:
    """A deflection as people read it: 12.41° TEU; `words` are for less and more than 0."""
    size = f"{abs(degrees):.2f}°"
    return size if size == "0.00°" else f"{size} {words[degrees > 0]}"


class Workbook:
    """The workbook in a page.

    Parameters
    ----------
    page : Page
    """

    def __init__(self, page):
        self.page, self.root = page, page.locator(".lw")

    def control(self, name):
        """A control by the name it carries for this purpose."""
        return self.root.locator(f'[data-control="{name}"]')

    def view(self, which):
        """A canvas: side, top, front, solid; brought on show."""
        flat = self.control("flat views")
        if (flat.get_attribute("aria-pressed") == "true") != (which != "solid"):
            flat.click()
        return self.root.locator(f'canvas[data-view="{which}"]')

    def settle(self):
        """Wait until what was asked for is drawn."""
        self.page.evaluate("() => new Promise(go => requestAnimationFrame("
                           "() => requestAnimationFrame(go)))")

    def pixels(self, canvas) -> bytes:
        """What a canvas alone shows; the page about it may change by itself."""
        canvas.scroll_into_view_if_needed()  # else it is drawn only once it comes into sight
        self.settle()
        return canvas.screenshot(animations="disabled")

    @contextlib.contextmanager
    def changes(self, canvas):
        """Fails when what happens inside leaves the canvas as it was."""
        before = self.pixels(canvas)
        yield
        changed = self.pixels(canvas) != before
        assert changed, "the picture stayed as it was"

    def drag(self, across, down):
        """Drag from the middle of the pad by a share of its width and height."""
        pad = self.root.locator(".lw-pad-canvas")
        pad.scroll_into_view_if_needed()
        box = pad.bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        mouse = self.page.mouse
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + across * box["width"], y + down * box["height"], steps=4)
        mouse.up()
        self.settle()

    def press(self, control, key, times=1):
        """Press a key on a control."""
        self.control(control).focus()
        for _ in range(times):
            self.page.keyboard.press(key)
        self.settle()

    def number(self, control) -> float:
        """The number in the box beside a slider; forward and left are below 0."""
        size, _, way = self.control(f"{control} typed").input_value().partition(" ")
        return float(size.replace(MINUS, "-")) * (-1 if way in ("forward", "left") else 1)

    def position(self, inputs) -> dict:
        """Where the stick is, by input."""
        return {name: self.number(f"stick {name}") for name in inputs}

    def type(self, control, text):
        """Type a number in the box beside a slider."""
        self.control(f"{control} typed").fill(str(text))
        self.page.keyboard.press("Enter")
        self.settle()

    def beside(self, control):
        """What is said beside a box."""
        return self.control(control).evaluate(
            "box => document.getElementById(box.getAttribute('aria-describedby')).textContent")

    def lines(self, section) -> list:
        """Cells of every row of a section's first table."""
        table = self.root.locator(f".lw-{section} table").first
        return table.evaluate("table => [...table.tBodies[0].rows].map("
                              "row => [...row.cells].map(cell => cell.textContent))")

    def rows(self, section) -> dict:
        """Cells of a section's first table by the first of each row."""
        return {first: others for first, *others in self.lines(section)}

    def until(self, true, seconds=20):
        """Wait until something said about the page is true."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if true():
                return
            self.page.wait_for_timeout(50)
        raise AssertionError("waited in vain")
