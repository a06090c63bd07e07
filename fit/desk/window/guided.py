"""A job of the guide over the socket: the same session as at a terminal, by the same code, met at a page."""

import contextlib
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from fit.answers.figures import COVERAGE
from fit.desk.bench.intake import KeptTake
from fit.desk.bench.take import Order as TakeOrder
from fit.desk.bench.take import PreflightError
from fit.desk.book.desk import Advance, Desk
from fit.desk.guide.console import document_of, keep_session, lead
from fit.desk.guide.scene import Bench, read_yes
from fit.desk.guide.session import Ending, Job, Manner, Memory, OneOf, Question, answer_of
from fit.desk.show.document.pieces import plain
from fit.desk.show.drawing.hookup import hookup_svg
from fit.desk.show.page import fragment
from fit.desk.show.words import error_line, plain_text
from fit.desk.window.line import Order
from fit.desk.window.messages import (
    Card,
    Check,
    GuideAnswer,
    GuideAsk,
    GuideBack,
    GuideBusy,
    GuideDo,
    GuideDone,
    GuideOpen,
    GuideTold,
    Refused,
    Setup,
    TakeMade,
    TakeResponse,
    Told,
)
from measure.errors import MeasureError
from measure.logbook.conditions import Conditions
from measure.logbook.store import Logbook, instrument_path, open_logbook
from measure.response import Response, relative_std

Tell = Callable[[Told], None]
PROGRESS_S = 0.1  # [s] between two words of progress
DB_PER_NEPER = 20 / np.log(10)
WORKING = "working"
MANNER = Manner(
    how_to="Leave whenever you like: all is kept, and the job goes on from there when it is opened again.",
    leaving="leave this page, and the job goes on from here when it is opened again",
    rehearsal="coilsweep bench --virtual",
)


@dataclass(slots=True, eq=False, kw_only=True)
class Visitor:
    """A person at a page, who answers by messages.

    Attributes
    ----------
    wrong : str
        Why the latest answer would not do.
    """

    order: Order
    send: Tell
    logbook: Logbook
    wrong: str = ""
    manner: Manner = MANNER

    def tell(self, line: str) -> None:
        """Show a line."""
        self.send(GuideTold(lines=(plain_text(line),)))

    def refuse(self, why: str) -> None:
        """Keep why the latest answer would not do, to be shown with the question."""
        self.wrong = plain_text(why)

    def ask(self, question: Question, *, can_go_back: bool = False) -> str | None:
        """Ask and wait.

        Returns
        -------
        str or None
            What a person would type at a terminal; None where somebody leaves.
        """
        self.send(asked(question, logbook=self.logbook, wrong=self.wrong, can_go_back=can_go_back))
        self.wrong = ""
        while (message := self.order.answers.get()) is not None:
            if isinstance(message, GuideBack):
                return "back"
            if isinstance(message, GuideAnswer | GuideDo):
                if message.key != question.key:
                    self.send(Refused(text="that question stands no more: the one shown is asked"))
                    continue
                self.send(GuideBusy(text=WORKING))
                return message.text if isinstance(message, GuideAnswer) else ""
        return None

    def keep(self, memory: Memory) -> None:
        """Keep the session."""
        keep_session(self.logbook, memory)


def run_job(order: Order, tell: Tell) -> None:
    """Lead through a job, until it is done or somebody leaves."""
    if not isinstance(order.message, GuideOpen):
        return
    job: Job = order.message.job
    try:
        logbook = open_logbook(order.logbook, create=True)
        visitor = Visitor(order=order, send=tell, logbook=logbook)
        desk = desk_of(order, visitor)
        bench = bench_of(order, desk, job, tell)
        ending = lead(desk, job, visitor, virtual=order.is_virtual, bench=bench, further=further_of(order.message))
        tell(done(desk, job, ending))
    except _expected() as err:
        tell(GuideDone(is_finished=False, text=error_line(err)))


def further_of(opened: GuideOpen) -> Conditions | None:
    """Tell how the take is to be made that was chosen at another page; None where none was."""
    chosen = Conditions(added=opened.added, controls=opened.controls)
    return chosen if chosen.added or chosen.controls else None


def asked(question: Question, *, logbook: Logbook, wrong: str, can_go_back: bool) -> GuideAsk:
    """Put a question as a page shows it."""
    choices: tuple[str, ...] = ()
    if isinstance(question.read, OneOf):
        choices = question.read.choices
    elif question.read is read_yes:
        choices = ("yes",)
    planned = question.planned
    setup, drawing = None, ""
    if planned is not None:
        conditions = planned.conditions
        is_guitar = instrument_path(logbook).exists() or bool(conditions.controls)
        setup = Setup(
            method=conditions.method,
            added=conditions.added,
            coil_over=conditions.coil_over or "",
            is_guitar=is_guitar,
        )
        drawing = hookup_svg(
            method=conditions.method,
            added=conditions.added,
            coil_over=conditions.coil_over or "",
            is_guitar=is_guitar,
            is_moved=conditions.coil_moved,
        )
    return GuideAsk(
        key=question.key,
        text=plain_text(question.text),
        before=tuple(plain_text(line) for line in question.before),
        default=question.default,
        choices=choices,
        help=tuple(plain_text(line) for line in question.explanation),
        is_take=question.is_recorded,
        heading="" if planned is None else plain_text(planned.heading),
        todo=() if planned is None else tuple(plain_text(line) for line in planned.todo),
        count=0 if planned is None else planned.count,
        of=0 if planned is None else planned.of,
        can_go_back=can_go_back,
        setup=setup,
        drawing_svg=drawing,
        wrong=wrong,
    )


def desk_of(order: Order, visitor: Visitor) -> Desk:
    """Work in the order's logbook and speak to its page; what sounds stops when it has to."""
    progress = _Progress(order=order, send=visitor.send)

    def steps(items: Iterable[object], label: str) -> Iterable[object]:
        visitor.send(GuideBusy(text=label))
        return items

    return Desk(
        logbook=order.logbook,
        say=visitor.tell,
        tell=visitor.tell,
        steps=steps,  # type: ignore[arg-type]  # of one kind of items
        bar=progress.bar,
        redraw=progress.redraw,
    )


@dataclass(slots=True, eq=False, kw_only=True)
class _Progress:
    """Tells how far a sweep is; stops it where nobody is there any more."""

    order: Order
    send: Tell
    told_s: float = field(default=0.0)

    @contextlib.contextmanager
    def bar(self, label: str) -> Iterator[Advance]:
        def advance(n_done: int, of: int | None) -> None:
            self._require_somebody()
            if of and time.monotonic() > self.told_s + PROGRESS_S:
                self.told_s = time.monotonic()
                self.send(GuideBusy(text=label, progress=min(n_done / of, 1.0)))

        self.send(GuideBusy(text=label, progress=0.0))
        yield advance

    def redraw(self, line: str) -> None:
        self._require_somebody()
        if line:
            self.send(GuideBusy(text=line))

    def _require_somebody(self) -> None:
        """Stop what sounds.

        Raises
        ------
        MeasureError
            If it was stopped at the page, or the page is there no more.
        """
        if self.order.halt.is_set():
            msg = "stopped, and faded to silence"
            raise MeasureError(msg)


def bench_of(order: Order, desk: Desk, job: Job, tell: Tell) -> Bench:
    """Set up the bench of the guide, and let the page hear of each take."""
    from fit.desk.guide.bench import card_bench, virtual_bench

    bench = virtual_bench(desk, job) if order.is_virtual else card_bench(desk)

    @contextlib.contextmanager
    def playing() -> Iterator[None]:
        tell(Card(owner=False, held_by=None, activity="guide", is_playing=True))
        try:
            yield
        finally:
            tell(Card(owner=False, held_by=None, activity="guide"))

    def take(wanted: TakeOrder) -> KeptTake:
        tell(GuideBusy(text=f"recording {wanted.name}", progress=0.0))
        with playing():
            made = bench.take(wanted)
        tell(taken(wanted.name, made))
        return made

    level = None if bench.level is None else playing()(bench.level)
    calibration = bench.calibration
    if calibration is not None:
        calibration = replace(calibration, record=playing()(calibration.record))
    return replace(bench, take=take, level=level, calibration=calibration)


def taken(name: str, made: KeptTake) -> TakeMade:
    """Put a take as a page shows it."""
    judgement = made.judgement
    findings = tuple(Check(code=one.code, severity=one.severity, text=plain_text(one.text)) for one in judgement.findings)
    response = None if judgement.response is None else _response(judgement.response)
    return TakeMade(name=name, outcome=judgement.outcome, findings=findings, response=response)


def done(desk: Desk, job: Job, ending: Ending | None) -> GuideDone:
    """Put the end of a session as a page shows it."""
    if ending is None:
        return GuideDone(is_finished=False, text="It stays as it is.")
    document = plain(document_of(desk, job, ending))
    if not ending.is_finished:
        return GuideDone(is_finished=False, text="Left; nothing is lost, and it goes on from here.", document=document)
    sheets = "".join(fragment(sheet) for sheet in ending.sheets)
    return GuideDone(is_finished=True, report=answer_of(ending.memory, "report"), sheet_html=sheets, document=document)


def _response(response: Response) -> TakeResponse:
    half_width_db = DB_PER_NEPER * COVERAGE * relative_std(response) / np.sqrt(2)
    magnitude_db = 20 * np.log10(np.maximum(np.abs(response.value), 1e-15))
    return TakeResponse(
        frequency_hz=_numbers(response.frequency_hz),
        magnitude_db=_numbers(magnitude_db),
        interval_db=_numbers(half_width_db),
    )


def _numbers(values: np.ndarray) -> tuple[float | None, ...]:
    return tuple(float(f"{value:.10g}") if np.isfinite(value) else None for value in values)


# As a command's: what the world, or a wrong word, may raise.
def _expected() -> tuple[type[Exception], ...]:
    from fit.desk.book.fits import RejectedError

    return (ValueError, OSError, MeasureError, PreflightError, RejectedError)
