"""Use the portal page in Chromium or Firefox: fill it in, ask, save and open.

    python portal.py BROWSER URL AXE FOLDER < visits.json > seen.json

A visit is {screen, scheme, fill, question}: the screen's width, "light" or "dark", the fields by their ids, and which
question is asked; ``couple`` ticks that box. AXE is the script of axe-core. A picture of every visit goes into FOLDER.

What is seen of each visit, as JSON: the requests; what the console complained of; the page's widths; the figures by their
paths; the titles of points; the captions of charts, and how many are drawn; the notice, and whether it was in sight at the
top, the middle and the end; the faults, each with the field that it stands beside; what has the focus; and what axe-core
finds of serious or critical, before and after the answer. Last, how a saved household looks after it was opened again.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, Playwright, sync_playwright

HEIGHT = 844
SECONDS = 20
IN_SIGHT = """() => {
  const box = document.getElementById("notice").getBoundingClientRect();
  return box.height > 20 && box.top >= 0 && box.bottom <= innerHeight + 1;
}"""
FOUND = """async () => (await axe.run(document, {resultTypes: ["violations"]})).violations
  .filter((one) => ["serious", "critical"].includes(one.impact))
  .map((one) => `${one.id}: ${one.nodes.map((node) => node.target).join("; ")}`)"""


def launched(tools: Playwright, program: str, scheme: str, folder: str) -> Browser:
    """A browser in a colour scheme. Firefox, as Debian has it, speaks WebDriver BiDi and is told the scheme at its start."""
    if "firefox" not in program:
        # Without the sandbox, which Chromium cannot have as root. It opens pages of this machine only.
        return tools.chromium.launch(executable_path=program, args=["--no-sandbox"])
    told = {
        "layout.css.prefers-color-scheme.content-override": 0 if scheme == "dark" else 1,
        "ui.prefersReducedMotion": 1,
        "browser.download.folderList": 2,
        "browser.download.dir": folder,
    }
    return tools.firefox.launch(executable_path=program, channel="moz-firefox", firefox_user_prefs=told)


def opened(browser: Browser, url: str, visit: dict[str, Any], seen: dict[str, Any]) -> Page:
    """The page, with whoever listens to it."""
    page = browser.new_page(
        viewport={"width": visit["screen"], "height": HEIGHT}, color_scheme=visit["scheme"], reduced_motion="reduce"
    )
    page.on("request", lambda request: seen["requests"].append(request.url))
    page.on("console", lambda said: seen["complaints"].append(said.text) if said.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: seen["complaints"].append(str(error)))
    page.goto(url)
    page.locator("#person-0-born").wait_for()
    return page


def fill(page: Page, visit: dict[str, Any]) -> None:
    """Choose the question, and fill in the fields."""
    if visit.get("couple"):
        page.locator("#couple").check()
    page.locator(f"input[name=question][value={visit['question']}]").check()
    for name, value in visit["fill"].items():
        field = page.locator(f"#{name}")
        if field.evaluate("field => field.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)


def visited(browser: Browser, url: str, axe: str, visit: dict[str, Any], picture: Path) -> dict[str, Any]:
    """One visit, and what was seen."""
    seen: dict[str, Any] = {"requests": [], "complaints": [], "widths": [], "in_sight": []}
    page = opened(browser, url, visit, seen)
    page.evaluate(axe)
    seen["serious"] = [page.evaluate(FOUND)]
    fill(page, visit)
    seen["widths"].append(page.evaluate("document.documentElement.scrollWidth"))
    page.locator("#ask").focus()
    page.keyboard.press("Enter")
    page.locator("#answer[data-shown], #faults:not([hidden])").first.wait_for()
    seen["focus"] = page.evaluate("document.activeElement.id")
    seen["widths"].append(page.evaluate("document.documentElement.scrollWidth"))
    for part in (0, 0.5, 1):
        page.evaluate(f"scrollTo(0, {part} * document.documentElement.scrollHeight)")
        seen["in_sight"].append(page.evaluate(IN_SIGHT))
    seen["figures"] = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('[data-path]')].map((each) => [each.dataset.path, each.textContent]))"
    )
    seen["points"] = page.locator("#points h4").all_inner_texts()
    seen["details"] = page.locator("#points h4 + p").all_inner_texts()
    seen["notice"] = page.locator("#notice").inner_text()
    seen["charts"] = page.locator("#charts figcaption").all_inner_texts()
    seen["pictures"] = page.locator("#charts svg[role=img][aria-label]").count()
    seen["faults"] = page.evaluate(
        "[...document.querySelectorAll('[aria-invalid]')].map((each) => [each.id,"
        " document.getElementById(`${each.id}-wrong`).textContent])"
    )
    seen["listed"] = page.locator("#faults-list li").all_inner_texts()
    seen["serious"].append(page.evaluate(FOUND))
    page.evaluate("scrollTo(0, 0)")
    complaints = [*seen["complaints"]]  # before the picture: for that, the tool puts a style of its own into the page
    page.screenshot(path=str(picture), full_page=True)
    page.close()
    return {**seen, "complaints": complaints}


def saved(browser: Browser, url: str, visit: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Save a household, open it on a new page, and return the file and the fields there."""
    noted: dict[str, Any] = {"requests": [], "complaints": []}
    page = opened(browser, url, visit, noted)
    fill(page, visit)
    file = folder / "household.json"
    if browser.browser_type.name == "firefox":  # which says nothing of a download, but puts it into the folder
        page.locator("#save").click()
        until = time.monotonic() + SECONDS
        while not (file.is_file() and file.stat().st_size) and time.monotonic() < until:
            time.sleep(0.1)
    else:
        with page.expect_download() as waited:
            page.locator("#save").click()
        waited.value.save_as(file)
    page.close()
    page = opened(browser, url, visit, noted)
    page.locator("#open").set_input_files(file)
    page.locator("#file-said:not(:empty)").wait_for()
    fields = page.evaluate(
        "Object.fromEntries([...document.querySelectorAll('#people input, #people select, #spending')]"
        ".map((each) => [each.id, each.value]))"
    )
    said = page.locator("#file-said").inner_text()
    page.close()
    return {"file": json.loads(file.read_text("utf-8")), "fields": fields, "said": said, **noted}


def main(program: str, url: str, axe: str, folder: str) -> None:
    """Make the visits, and print what was seen."""
    visits = json.load(sys.stdin)
    script = Path(axe).read_text("utf-8")
    with sync_playwright() as tools:
        browsers = {scheme: launched(tools, program, scheme, folder) for scheme in ("light", "dark")}
        seen = [
            visited(browsers[visit["scheme"]], url, script, visit, Path(folder, f"visit-{number}.png"))
            for number, visit in enumerate(visits)
        ]
        last = saved(browsers["light"], url, visits[0], Path(folder))
        for browser in browsers.values():
            browser.close()
    json.dump({"visits": seen, "saved": last}, sys.stdout)


if __name__ == "__main__":
    main(*sys.argv[1:])
