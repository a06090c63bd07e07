"""Somebody in front of a page: Chromium of the system's packages, what it complains of, asks for, and hears over the socket."""

import json
import shutil
from importlib.resources import files
from importlib.util import find_spec
from urllib.parse import urlsplit

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
MISSING = [
    what
    for what, is_there in (("Chromium", CHROMIUM), ("playwright", find_spec("playwright")), ("starlette", find_spec("starlette")))
    if not is_there
]
ARGUMENTS = ("--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1")
PATIENCE_MS, LOOK_MS = 60_000, 30


class Visitor:
    """A page of one server in a browser of its own, until `leave`."""

    def __init__(self, browser, server, *, dark=False, width=1280, height=900, zoom=1):
        self.server, self.base = server, f"http://127.0.0.1:{server.port}"
        self.context = browser.new_context(
            color_scheme="dark" if dark else "light",
            viewport={"width": width // zoom, "height": height // zoom},
            device_scale_factor=zoom,
        )
        self.context.set_default_timeout(PATIENCE_MS)
        self.page = self.context.new_page()
        self.complaints, self.asked_for, self.heard = [], [], []
        self.page.on("console", self._listen)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.context.on("request", lambda request: self.asked_for.append(request.url))
        self.page.on("websocket", self._follow)
        self.page.goto(server.address)

    def _listen(self, message):
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def _follow(self, socket):
        self.asked_for.append(socket.url)
        socket.on("framereceived", lambda data: self.heard.append(json.loads(data)))

    def open(self, path):
        """Open a page and wait for its connection."""
        self.page.goto(self.base + path)
        self.wait("document.documentElement.dataset.connected === 'yes'")

    def all(self, *kinds):
        """What was heard of these kinds."""
        return [one for one in self.heard if one["kind"] in kinds]

    def press(self, *keys):
        for key in keys:
            self.page.keyboard.press(key)

    def wait(self, condition, argument=None):
        """Wait until a condition in the page's own language holds; the page's policy forbids playwright's own way of waiting."""
        for _ in range(PATIENCE_MS // LOOK_MS):
            if self.page.evaluate(condition, argument):
                return
            self.page.wait_for_timeout(LOOK_MS)
        msg = f"waited in vain for {condition}: {self.page.locator('main').inner_text()[:500]}"
        raise TimeoutError(msg)

    def barriers(self):
        """What axe-core finds on the page as it stands, but for what it calls minor: rule, impact, elements."""
        self.page.evaluate((files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8"))
        found = self.page.evaluate("() => axe.run()")
        told = [(one["id"], one["impact"], [node["html"][:200] for node in one["nodes"]]) for one in found["violations"]]
        return [one for one in told if one[1] != "minor"]

    @property
    def places(self):
        """Hosts and ports that anything was asked of."""
        return {urlsplit(url).netloc for url in self.asked_for if not url.startswith(("data:", "blob:"))}

    def leave(self):
        self.context.close()


def numbers(value, place=""):
    """Every number of a document, by where it stands."""
    if isinstance(value, dict):
        return {name: one for key, inner in value.items() for name, one in numbers(inner, f"{place}.{key}").items()}
    if isinstance(value, list):
        return {name: one for index, inner in enumerate(value) for name, one in numbers(inner, f"{place}[{index}]").items()}
    return {place: value} if isinstance(value, int | float) and not isinstance(value, bool) else {}
