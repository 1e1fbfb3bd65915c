"""Use the page at /docs in Chromium, as somebody with a phone would.

    python page.py CHROMIUM URL QUOTE BULK > seen.json

QUOTE and BULK are the operationIds that are tried out. What is seen, as JSON: {requests, complaints, mains, title, widths,
asked, answered}: the URLs that were asked for; what the console complained of; how many <main>; the page's width in pixels
on a screen of 390 at each stage; and of each try-out the URL it went to, the body sent and the text of the answer shown.
"""

from __future__ import annotations

import json
import sys
from typing import Any

from playwright.sync_api import Locator, Page, sync_playwright

SCREEN = {"width": 390, "height": 844}


def main(chromium: str, url: str, *operations: str) -> None:
    """Open the page, try out the operations, and print what was seen."""
    with sync_playwright() as tools:
        # Without the sandbox, which Chromium cannot have as root. It opens pages of this machine only.
        browser = tools.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport=SCREEN)
        seen: dict[str, Any] = {"requests": [], "complaints": [], "widths": [], "tried": {}}
        page.on("request", lambda request: seen["requests"].append(request.url))
        page.on(
            "console", lambda said: seen["complaints"].append(said.text) if said.type in ("error", "warning") else None
        )
        page.on("pageerror", lambda error: seen["complaints"].append(str(error)))
        page.goto(f"{url}/docs")
        page.locator(".opblock").first.wait_for()
        seen["mains"] = page.locator("main").count()
        seen["widths"].append(width(page))
        for operation in operations:
            seen["tried"][operation] = tried_out(page, page.locator(f".opblock[id$='-{operation}']"))
            seen["widths"].append(width(page))
        browser.close()
    json.dump(seen, sys.stdout)


def tried_out(page: Page, operation: Locator) -> dict[str, Any]:
    """Open an operation, send its example as the page offers it, and return what was sent and what is shown."""
    operation.locator(".opblock-summary-control").click()
    operation.get_by_role("button", name="Try it out").click()
    operation.locator("textarea").wait_for()
    with page.expect_response(lambda response: response.request.method == "POST") as waited:
        operation.locator("button.execute").click()
    shown = operation.locator(".live-responses-table .response-col_description pre").first
    shown.wait_for()
    return {
        "url": waited.value.url,
        "sent": waited.value.request.post_data,
        "status": waited.value.status,
        "shown": shown.inner_text(),
    }


def width(page: Page) -> int:
    """Return how wide the page is, beyond the screen too."""
    return int(page.evaluate("document.documentElement.scrollWidth"))


if __name__ == "__main__":
    main(*sys.argv[1:])
