"""The processes that compute for the pages: they answer, refuse in a line, start anew, and go."""

import asyncio
import os
from pathlib import Path

import pytest

from fit.desk.window import messages
from fit.desk.window.computed import Released, WhatIf
from fit.desk.window.hub import Place
from fit.desk.window.worker import Processes
from tests.three_pickups import SETTINGS, lay_out


@pytest.fixture
def processes(tmp_path):
    made = Processes()
    made.start(Place(logbook=lay_out(tmp_path)))
    yield made
    made.end()


def ask(processes, *asked, page=1):
    """Answers in order; what was refused as its line."""

    async def each():
        out = []
        for message in asked:
            try:
                out += await processes.ask(message, page=page)
            except ValueError as err:
                out.append(str(err))
        return out

    return asyncio.run(each())


@pytest.mark.long
def test_it_answers_one_page_after_the_other(processes, tmp_path):
    opened, tried, held, beside, let_go = ask(
        processes,
        messages.WhatIfOpen(),
        messages.WhatIfSet(set=SETTINGS),
        messages.Hold(set=SETTINGS),
        messages.WhatIfSet(set=SETTINGS | {"volume": "3"}),
        messages.Hold(is_held=False),
    )
    assert all(isinstance(one, WhatIf) for one in (opened, tried, held, beside))
    assert isinstance(let_go, Released)
    assert (held.is_held, ">held<" in beside.sheet_html) == (True, True)
    assert held.curves == tried.curves
    assert beside.curves != tried.curves
    (takes,) = ask(processes, messages.TakesList())
    assert (takes.days, takes.logbook) == ((), str(tmp_path.resolve()))


def test_what_is_refused_is_one_line_and_it_goes_on(processes):
    line, answer = ask(processes, messages.WhatIfSet(set={"volume": "loud"}), messages.WhatIfSet())
    assert line.startswith('volume: "loud" is neither')
    assert "\n" not in line
    assert isinstance(answer, WhatIf)


@pytest.mark.long
def test_it_starts_anew_where_it_ended(processes):
    ask(processes, messages.WhatIfOpen())
    processes._quick._child.kill()
    processes._quick._child.join()
    line_or_answer, answer = ask(processes, messages.WhatIfSet(), messages.WhatIfSet())
    assert isinstance(line_or_answer, WhatIf) or "ended unexpectedly" in line_or_answer
    assert isinstance(answer, WhatIf)


def test_another_logbook_is_read_anew(processes, tmp_path):
    ask(processes, messages.WhatIfOpen())
    processes.start(Place(logbook=tmp_path / "none"))
    assert "none" in ask(processes, messages.WhatIfSet())[0]


@pytest.mark.long
def test_both_end_when_the_server_does(processes):
    ask(processes, messages.WhatIfOpen(), messages.TakesList())
    children = [one._child for one in (processes._quick, processes._slow)]
    processes.end()
    assert [child.is_alive() for child in children] == [False, False]


def test_a_process_goes_when_its_pipe_ends(processes):
    ask(processes, messages.WhatIfOpen())
    processes._quick._pipe.close()
    processes._quick._child.join(10)
    assert processes._quick._child.exitcode == 0


def test_no_thread_of_the_server_computes(processes):
    (found,) = ask(processes, messages.WhatIfOpen())
    assert processes._quick._child.pid != os.getpid()
    assert Path(found.command.rpartition("--logbook ")[2]).name
