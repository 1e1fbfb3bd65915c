"""Call the service from pages of other origins, in Chromium.

    python other_origin.py CHROMIUM URL KEY PAGE... < request.json > seen.json

Each PAGE is opened, and a script on it sends the request to URL with KEY. Printed is a JSON list, in the order of the pages: the
status, the version of the rules that the script could read, and the tax year of the answer; or what the browser said.
"""

from __future__ import annotations

import json
import sys

from playwright.sync_api import sync_playwright

SCRIPT = """
async ([url, key, body]) => {
  try {
    const answer = await fetch(url, {
      method: "POST",
      headers: { "Content-Type": "application/json", Authorization: `Bearer ${key}` },
      body
    });
    const said = await answer.json();
    return { status: answer.status, version: answer.headers.get("Rules-Version"), tax_year: said.tax_year };
  } catch (error) {
    return { refused: String(error) };
  }
}
"""


def main(chromium: str, url: str, key: str, *pages: str) -> None:
    """Open the pages and print what each could do."""
    body = sys.stdin.read()
    seen = []
    with sync_playwright() as tools:
        # Without the sandbox, which Chromium cannot have as root. It opens pages of this machine only.
        browser = tools.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for address in pages:
            page = browser.new_page()
            page.goto(address)
            seen.append(page.evaluate(SCRIPT, [url, key, body]))
            page.close()
        browser.close()
    json.dump(seen, sys.stdout)


main(*sys.argv[1:])
