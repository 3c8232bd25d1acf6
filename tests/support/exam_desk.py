"""The exam page as somebody uses it: by keyboard alone, or by touches that are counted."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # of the extra `browser`, and this is imported by every run
    from playwright.sync_api import Browser, Page, Request, Response

Answer = dict[str, Any]
_SLOW = 60_000
_FAR = 400


# As `keys.js` counts them: what an arrow walks over.
_WALKED = """const controls = (row) => [...row.querySelectorAll('button, input, select, summary')]
    .filter((one) => one.offsetParent !== null && (one.matches('summary') || !one.closest('.particulars')));
const now = document.activeElement;"""
_ALONG = f"""() => {{ {_WALKED}
    const all = controls(now.closest('.finding, .seen, .systems'));
    return all.findIndex((e) => WANTED) - all.indexOf(now); }}"""
_ROWS = f"""(finding) => {{ {_WALKED}
    const rows = [...document.querySelectorAll('.finding, .seen, .systems')]
        .filter((row) => row.offsetParent !== null && controls(row).length);
    const to = rows.findIndex((row) => row.id === `f-${{finding}}` || row.querySelector(`[data-seen='${{finding}}']`));
    return to - rows.indexOf(now.closest('.finding, .seen, .systems')); }}"""


class Desk:
    """One open page, the requests that it made, the last answer that it got."""

    def __init__(self, browser: Browser, url: str, width: int = 1280, height: int = 900, **more: Any) -> None:
        options = {"timezone_id": "America/Chicago", "locale": "en-US"} | more
        self.context = browser.new_context(viewport={"width": width, "height": height}, **options)
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(_SLOW)
        self.asked: list[str] = []
        self.sent: list[Answer] = []
        self.statuses: list[int] = []
        self.answer: Answer = {}
        self.errors: list[str] = []
        self.touches = 0
        self.page.on("request", self._asks)
        self.page.on("response", self._answers)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        self.page.goto(url)
        self.page.wait_for_selector("#title", state="attached")

    def close(self) -> None:
        """Close the page; nothing went wrong in its scripts."""
        self.context.close()
        assert self.errors == []

    def _asks(self, request: Request) -> None:
        self.asked.append(request.url)
        if "/assess" in request.url and request.post_data:
            self.sent.append(json.loads(request.post_data))

    def _answers(self, response: Response) -> None:
        if "/assess" in response.url:
            self.statuses.append(response.status)

    # --- what is drawn

    def settled(self) -> Answer:
        """Wait until the page has drawn the answer to what is on it now; return that answer."""
        self.page.wait_for_function(
            "() => document.documentElement.dataset.drawn === document.documentElement.dataset.asked"
        )
        self.answer = json.loads(self._of("answer", "JSON.stringify(m.answered.last)"))
        return self.answer

    def visit(self) -> Answer:
        """Return the flat visit that the page holds."""
        return dict(json.loads(self._of("kept", "JSON.stringify(m.flat())")))

    def _of(self, module: str, script: str) -> str:
        """Return what a script finds in one of the page's own modules (`m`)."""
        return str(self.page.evaluate(f"() => import('/assets/{module}.js').then((m) => {script})"))

    def text(self, selector: str = "body") -> str:
        """Return what stands somewhere on the page."""
        return self.page.locator(selector).inner_text()

    def verdict(self) -> str:
        """Return the sentence on top of the answer."""
        return self.text(".verdict")

    # --- by keyboard

    def press(self, *keys: str) -> None:
        """Press keys one after the other."""
        for key in keys:
            self.page.keyboard.press(key)

    def focus(self, script: str) -> Any:
        """Return what a script finds of the element that has the focus (`e`)."""
        return self.page.evaluate(f"() => {{ const e = document.activeElement; return {script}; }}")

    def along(self, script: str) -> None:
        """Walk within the row to the control (`e`) of which a script holds: as many arrows as lie between."""
        steps = self.page.evaluate(_ALONG.replace("WANTED", script))
        key = "ArrowRight" if steps > 0 else "ArrowLeft"
        self.press(*[key] * abs(steps))
        self.until(key, script)  # in a field that holds a number, arrows walk over its digits first

    def until(self, key: str, script: str) -> None:
        """Press a key until the focus is where a script says."""
        for _ in range(_FAR):
            if self.focus(script):
                return
            self.press(key)
        raise AssertionError(f"{key} never leads to {script}")

    def head(self, born: str, at: str, sex: str) -> None:
        """Fill in who is seen: born and at as `2026-11-24T08:30`, by keyboard."""
        for part, value in (("bornDay", born[:10]), ("bornTime", born[11:16]), ("day", at[:10]), ("time", at[11:16])):
            self.until("Tab", f"e.id === 'head-{part}'")
            if value:
                self.type_when(value)
        self.until("Tab", "e.dataset.sex === 'female'")
        self.until("Tab", f"e.dataset.sex === '{sex}'")
        if self.focus("e.getAttribute('aria-pressed')") != "true":  # an earlier visit may have told it already
            self.press("Enter")

    def type_when(self, value: str) -> None:
        """Type a day or a time into the field that has the focus, in its American form."""
        if "-" in value:
            year, month, day = value.split("-")
            self.page.keyboard.type(f"{month}{day}{year}")
            return
        hour = int(value[:2])
        self.page.keyboard.type(f"{hour % 12 or 12:02}{value[3:5]}{'PM' if hour >= 12 else 'AM'}")

    def place_of(self, finding: str) -> str:
        """Return the step in which a finding stands, in the usual order of work."""
        script = f"m.model.orders[0].steps.find((one) => one.findings.includes('{finding}')).name"
        return self._of("words", script)

    def step(self, name: str) -> None:
        """Go to a step by the spine."""
        self.until("Shift+Tab", "e.classList.contains('joint')")
        up = "() => [...document.querySelectorAll('.joint')].findIndex((e) => e === document.activeElement)"
        there = f"() => [...document.querySelectorAll('.joint')].findIndex((e) => e.dataset.step === '{name}')"
        self.until(
            "ArrowUp" if self.page.evaluate(up) > self.page.evaluate(there) else "ArrowDown",
            f"e.dataset.step === '{name}'",
        )
        self.press("Enter")
        self.until("Tab", "e.closest('.finding, .seen, .systems')")

    def everything(self) -> None:
        """Show all findings of the step, and walk back to its first row."""
        self.until("Tab", "e.id === 'more'")
        self.press("Enter")
        self.until("Shift+Tab", "e.id === 'title' || e.classList.contains('joint')")
        self.until("Tab", "e.closest('.finding, .seen, .systems')")

    def more(self, finding: str, when: str = "", told: bool = False, **read: str) -> None:
        """Say of a recording when it was found (a time of the visit's clock), and that the family told it."""
        if self.focus("Boolean(e.closest('.body'))") is False:
            self.unfold(finding)
        self.along("e.matches('.particulars summary')")
        if not self.focus("e.parentNode.open"):
            self.press("Enter")
        if when:
            self.until("Tab", "e.type === 'date'")
            self.type_when(when[:10])
            self.until("Tab", "e.type === 'time'")
            self.type_when(when[11:16])
        for name, value in read.items():
            self.until("Tab", f"e.dataset.qualifier === '{name}'")
            self.until("ArrowDown", f"e.value === '{value}'")
        if told:
            self.until("Tab", "e.type === 'checkbox'")
            self.press("Space")
        self.until("Shift+Tab", f"e.closest('#f-{finding}') && (e.matches('summary') || !e.closest('.particulars'))")

    def another(self, finding: str) -> None:
        """Keep what is recorded of a finding as one reading, so that another can be given."""
        self.more(finding)
        self.along("e.matches('.particulars summary')")
        self.until("Tab", f"e.dataset.another === '{finding}'")
        self.press("Enter")

    def row(self, finding: str) -> None:
        """Walk to the row of a finding in the step that is open."""
        steps = self.page.evaluate(_ROWS, finding)
        self.press(*["ArrowDown" if steps > 0 else "ArrowUp"] * abs(steps))
        assert self.focus(f"Boolean(e.closest('#f-{finding}') || e.dataset.seen === '{finding}')"), finding

    def choose(self, finding: str, side: str, value: str, *, absent: bool = False) -> None:
        """Record a value, or why there is none, by opening the row and walking to it."""
        self.unfold(finding)
        where = f"e.dataset.value === '{value}' && (e.dataset.side || '') === '{side}'"
        if absent:
            where = f"e.dataset.absent === '{value}'"
        self.along(where)
        pressed = "e.getAttribute('aria-pressed') === 'true'"
        if absent and self.focus(pressed):  # of one side it is said for both
            return
        self.press("Enter")
        if not self.focus(pressed):  # a loaded machine may draw just then: who sees no mark presses again
            self.along(where)
            if not self.focus(pressed):
                self.press("Enter")

    def unfold(self, finding: str) -> None:
        """Walk to the name of a finding and open its row."""
        self.row(finding)
        self.along("e.classList.contains('name')")
        if self.focus("e.getAttribute('aria-expanded')") == "false":
            self.press("Enter")

    def number(self, finding: str, value: str, unit: str, side: str = "", part: str = "") -> None:
        """Type a number into its field and leave it; the unit first, where it is another."""
        self.row(finding)
        place = f"(e.dataset.side || '') === '{side}' && (e.dataset.part || '') === '{part}'"
        field = f"e.dataset.number === '{finding}' && {place}"
        select = self.page.locator(f"#f-{finding} .numbers select")
        if select.count() and select.input_value() != unit:
            self.along("e.matches('.numbers select')")
            self.until("ArrowUp", "e.selectedIndex === 0")
            self.until("ArrowDown", f"e.value === '{unit}'")
            # The last arrow may have been the change that draws the row anew.
            self.until("ArrowLeft", f"e.dataset.number === '{finding}'")
        self.along(field)
        self.press("Control+A")
        self.page.keyboard.type(value)
        self.press("Enter")

    # --- by touch

    def touch(self, selector: str) -> None:
        """Touch one thing, and count it."""
        self.touches += 1
        self.page.locator(selector).first.click()

    def digits(self, selector: str, value: str) -> None:
        """Type a number; every digit is a touch, and so is reaching the field."""
        self.touch(selector)
        self.touches += len(value)
        self.page.keyboard.type(value)


def told(answer: Mapping[str, Any]) -> tuple[object, ...]:
    """Return what an answer says, without the words in which it says it."""
    groups = [
        (group["deadline"], [(one["key"], one["priority"]) for one in group["items"]]) for group in answer["groups"]
    ]
    judged = sorted(one["label"] for one in answer["judge"])
    return groups, judged, sorted(one["key"] for one in answer["chase"]), answer["verdict"]
