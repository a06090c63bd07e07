"""Text from outside stays text on every page: notes, names, findings; what is wrong with a take is told with its cure."""

import json

from fit.desk.command.main import main
from tests.guided import Script, guided

HOSTILE = "<img src=x onerror=alert(1)><b>bold</b>"
WELCOME = {"kind": "welcome", "page": 1, "logbook": HOSTILE, "is_virtual": True}
CARD = {"kind": "card", "owner": True, "held_by": 1, "activity": "guide", "is_playing": False}
RESPONSE = {"frequency_hz": [100.0, 1000.0, 10000.0], "magnitude_db": [0.0, 3.0, -9.0], "interval_db": [0.5, 0.1, 0.2]}
TAKE = {
    "kind": "take_made",
    "name": HOSTILE,
    "outcome": "usable",
    "findings": [
        {"code": "clock", "severity": "pass", "text": "the clock is steady"},
        {"code": "hum", "severity": "warn", "text": f"hum stands out: turn the guitar {HOSTILE}"},
        {"code": "clipped", "severity": "reject", "text": "clipped: lower the gain"},
    ],
    "response": RESPONSE,
}
ASK = {
    "kind": "guide_ask",
    "key": HOSTILE,
    "text": HOSTILE,
    "before": [HOSTILE],
    "default": HOSTILE,
    "choices": [HOSTILE, "other"],
    "help": [HOSTILE],
    "is_take": False,
    "heading": "",
    "todo": [HOSTILE],
    "count": 1,
    "of": 2,
    "can_go_back": True,
    "setup": None,
    "drawing_svg": "",
    "wrong": HOSTILE,
}
STRANGERS = "document.querySelectorAll('img, main b:not(.small):not(.name)').length"


def test_what_the_socket_tells_of_a_take_is_shown_as_text(served, visit):
    visitor = visit(served())
    told = [WELCOME, CARD, {"kind": "guide_told", "lines": [HOSTILE, f"{HOSTILE}  {HOSTILE}"]}, TAKE, ASK]
    visitor.page.route_web_socket("**/socket", lambda socket: [socket.send(json.dumps(one)) for one in told])
    visitor.open("/take?job=pickup")
    page = visitor.page
    visitor.wait("document.querySelector('.step').dataset.is === 'asked'")
    assert page.evaluate(STRANGERS) == 0
    assert page.locator(".step h2").inner_text() == HOSTILE
    assert page.locator("#trouble").inner_text() == f"Not so: {HOSTILE}"
    assert page.locator(".step .todo li").all_inner_texts() == [HOSTILE]
    assert page.locator(".legend li").all_inner_texts() == [HOSTILE]
    assert page.locator(".taken h2").inner_text() == f"{HOSTILE} usable, could be better"
    assert page.locator(".findings li").all_inner_texts() == [
        f"look at this: hum stands out: turn the guitar {HOSTILE}",
        "cannot be used: clipped: lower the gain",
    ]
    page.locator(".numbers summary").press("Enter")
    visitor.wait("document.querySelectorAll('.numbers tbody tr').length === 3")
    row = page.locator(".numbers tbody tr").nth(1).locator("th,td").all_inner_texts()
    assert row == ["1.000 kHz", "B5", "3.00 dB (2.90 dB … 3.10 dB)"]


def test_a_note_is_text_in_the_logbook_and_wherever_takes_are_shown(tmp_path, served, visit):
    folder = tmp_path / "book"
    guided(folder, "pickup", Script())
    assert main(["takes", "amend", "open", "--note", HOSTILE, "--item", HOSTILE, "--logbook", str(folder)]) == 0
    visitor = visit(served(folder))
    for path in ("/logbook", "/result", "/before-after"):
        visitor.open(path)
        visitor.page.wait_for_timeout(3000)
        assert visitor.page.evaluate("document.querySelectorAll('img').length") == 0
    visitor.open("/logbook")
    visitor.wait("document.querySelectorAll('input, textarea').length > 2")
    values = visitor.page.evaluate("[...document.querySelectorAll('input, textarea')].map(one => one.value)")
    assert HOSTILE in values


def test_what_would_clip_is_told_with_its_cure_and_made_softer_by_one_key(served, visit):
    visitor = visit(served())
    visitor.open("/take?job=pickup")
    page, n, seen = visitor.page, 0, []
    while "ready.plus-added" not in seen:
        visitor.wait("n => Number(document.querySelector('.step').dataset.asked ?? 0) > n", n)
        step = page.evaluate("({...document.querySelector('.step').dataset})")
        n = int(step["asked"])
        seen.append(step["key"])
        if step["key"] == "level" and "verdict.open" not in seen:
            page.keyboard.type("1")
        elif step["key"] == "verdict.open":
            assert "would clip" in page.locator(".step .told").inner_text()
            assert page.locator("form button.main").inner_text().startswith("softer")
        visitor.press("Enter")
    assert seen.count("verdict.open") == 2  # 1 and 0.5 are too loud
    assert visitor.all("take_made")[0]["outcome"] == "good"
