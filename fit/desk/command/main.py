"""The command line: reads what was typed, hands it to the session, prints what comes back.

Answers go to stdout, progress and messages to stderr. Nothing heavy is imported before a command runs.
"""

import errno
import os
import shlex
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from fit.desk.command import bench, calibrate, card, exciter, guide, manual, questions, repeat, schema, takes, window
from fit.desk.command.console import give_up_stdout, json_text, reader_may_leave, ready_streams
from fit.desk.command.near import Near
from fit.desk.command.plain_lmfit import spare_extras
from measure.text import plain_lines, plain_text
from measure.version import VERSION

if TYPE_CHECKING:
    from fit.desk.book.desk import Outcome
    from fit.desk.show.document.pieces import Document

DONE, WRONG_USE, REJECTED, INTERRUPTED = 0, 2, 3, 130
NOT_KNOWN = ("No such command", "Got unexpected extra argument")  # how click begins what it says without a cure
EXAMPLES = """\b
Examples:
  coilsweep demo                               the whole job, simulated
  coilsweep guide guitar                       be led, take by take
  coilsweep bench                              the same as a page, hands free
  coilsweep rig --sense-resistor "100 ± 1%"    what the bench consists of
  coilsweep exciter --former 24 --source line  which coil to wind
  coilsweep calibrate loopback                 how the inputs differ
  coilsweep level                              what the inputs hear
  coilsweep take open                          play, record, check, keep
  coilsweep stimulus sweep.wav --rate 96000    to be played elsewhere
  coilsweep import open bare.wav --stimulus sweep.wav
  coilsweep import plus-1n with-1n.wav --add "1n ± 1%" --stimulus sweep.wav
  coilsweep takes list                         the takes by day; amend, remove
  coilsweep fit open plus-1n --dcr "6.35k ± 1%"
                                               what the pickup is
  coilsweep report pickup.html                 all of it as one page
  coilsweep instrument --layout one-pickup     a file to state a guitar in
  coilsweep import down down.wav --set tone=0  a take of a closed guitar
  coilsweep confirm capacitor.tone up up-1n down
                                               is it what is marked on it
  coilsweep wiring bridge-at-both neck-at-both
                                               what a switch position connects
  coilsweep compare --before before --after after
                                               what a job changed
  coilsweep predict --set tone=3 --change capacitor.tone=10n
  coilsweep export open plus-1n --to spice     also csv, touchstone, ir
  coilsweep listen riff.wav out.wav --change capacitor.tone=10n
  coilsweep repeat a1 a1-1n a2 a2-1n a3 a3-1n  how well the bench repeats
  coilsweep history "neck pickup"              what was found before, by date
  coilsweep check drawer --plot drawer.png     has a kept coil drifted
  coilsweep schema fit                         what fit --json means
  coilsweep selftest                           known recordings, known answers
  coilsweep manual confirm                     what the manual says of it

\b
Exit codes: 0 done, 2 wrong use or bad file, 3 recording rejected (kept,
marked), 4 sound card trouble, 130 interrupted.
"""

OVERVIEW = """\
coilsweep: find out what is in an electric guitar, with a sound card and a coil.

  Be led, step by step         guide  (without a sound card: guide --virtual)
  The bench as a page          bench
  See the whole job            demo
  Does it compute right here?  selftest

  Prepare the bench            rig  devices  level  exciter  calibrate
  Make and keep takes          take  stimulus  import  takes  inspect
  What is this pickup?         fit  report  history
  Is a part what is printed?   confirm
  What does the switch do?     instrument  wiring
  What did my work change?     compare
  What would a change do?      predict  listen
  Does my bench repeat?        repeat  check
  For other programs           export  schema
  Read on, or look a word up   manual

coilsweep COMMAND --help says how one is used, coilsweep --help lists them all.\
"""


@click.group(cls=Near, epilog=EXAMPLES, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(VERSION, message="coilsweep %(version)s")
def coilsweep() -> None:
    """Find out what an electric-guitar pickup is, with a sound card and a small exciter coil.

    A sweep drives the exciter over the pickup; the recording becomes a response with error bars; a circuit is fitted to
    several of them, and inductance, capacitance, resistance and losses come out with 95 % intervals.
    """


for _command in (
    bench.demo,
    bench.selftest,
    guide.guide,
    window.bench,
    bench.rig,
    exciter.exciter,
    card.devices,
    card.level,
    card.take,
    calibrate.calibrate,
    bench.stimulus,
    bench.import_take,
    bench.inspect,
    takes.takes,
    questions.fit,
    questions.report,
    questions.export,
    questions.instrument,
    questions.predict,
    questions.compare,
    questions.confirm,
    questions.wiring,
    questions.listen,
    repeat.repeat,
    repeat.check,
    repeat.history,
    schema.schema,
    manual.manual,
):
    coilsweep.add_command(_command)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str or None
        What was typed after ``coilsweep``; None for the arguments of the process.

    Returns
    -------
    int
        Exit code: 0 done, 2 wrong use or bad file, 3 recording rejected, 4 sound card trouble, 130 interrupted.
    """
    words = _as_options(list(sys.argv[1:] if argv is None else argv))
    options = words[: words.index("--")] if "--" in words else words
    as_json = "--json" in options
    try:
        result = coilsweep.main(args=words, prog_name="coilsweep", standalone_mode=False)
        if result is None or isinstance(result, int):
            return result or DONE
        _print_outcome(result, as_json=as_json, with_details="--details" in options)
        return int(result.exit_code)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message() if words else OVERVIEW)
        return DONE if not words else WRONG_USE
    except (click.Abort, KeyboardInterrupt):
        return _complain("Interrupted; nothing half-written is left.", INTERRUPTED, as_json=as_json)
    except click.ClickException as error:
        return _complain(_misplaced(error, words) or _with_cure(error), WRONG_USE, as_json=as_json)
    except _expected_errors() as error:
        if "--debug" in options:
            import traceback

            click.echo(plain_lines(traceback.format_exc()), nl=False, err=True)
        if isinstance(error, OSError) and error.errno == errno.ENOSPC and not error.filename:
            give_up_stdout()  # what could not be written would be tried again on leaving
        from fit.desk.show.words import error_line

        return _complain(error_line(error), getattr(error, "exit_code", WRONG_USE), as_json=as_json)


def run() -> None:
    """Entry of the installed command."""
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(variable, "1")  # the matrices are small: threads wait for each other (4 s of demo became 10 s)
    spare_extras()
    ready_streams()
    sys.exit(main())


def _as_options(words: list[str]) -> list[str]:
    """Take help and version as words for the options of that name."""
    if words[:1] == ["help"]:
        return [*words[1:], "--help"]
    return ["--version"] if words == ["version"] else words


def _with_cure(error: click.ClickException) -> str:
    """Say what was typed wrong, and where it is told what may be typed, where click itself says only the first."""
    text = error.format_message()
    is_bare = isinstance(error, click.MissingParameter | click.NoSuchOption) or text.startswith(NOT_KNOWN)
    if is_bare and isinstance(error, click.UsageError) and error.ctx is not None and not text.endswith("?"):
        return f"{text.rstrip('.')}; {error.ctx.command_path} --help says what may be typed"
    return text


def _misplaced(error: click.ClickException, words: Sequence[str]) -> str | None:
    """Tell where an option belongs that stands before the command."""
    if not isinstance(error, click.NoSuchOption) or error.ctx is None or error.ctx.parent is not None:
        return None
    at = next((place for place, word in enumerate(words) if word in coilsweep.commands), None)
    if at is None:
        return None
    typed = shlex.join([words[at], *words[:at], *words[at + 1 :]])
    return f"{error.option_name} stands before the command; options go behind it: coilsweep {typed}"


# What the world, or a wrong word typed, may raise; nothing is imported for a command that went well.
def _expected_errors() -> tuple[type[Exception], ...]:
    from measure.errors import MeasureError

    raised = (("fit.desk.book.fits", "RejectedError"), ("fit.desk.bench.take", "PreflightError"))
    own = [getattr(sys.modules[module], name) for module, name in raised if module in sys.modules]
    return (ValueError, OSError, MeasureError, *own)


def _json(document: "Document") -> str:
    from fit.desk.show.document.pieces import plain

    return json_text(plain(document))


def _complain(message: str, code: int, *, as_json: bool) -> int:
    line = plain_text(" ".join(message.split()))
    if as_json:
        from fit.desk.show.document.bench import ErrorDocument, Failure

        try:
            click.echo(_json(ErrorDocument(outcome="error", error=Failure(message=line, exit_code=code))))
            sys.stdout.flush()
        except OSError:  # stdout itself is what failed
            give_up_stdout()
    click.echo(f"coilsweep: {line}", err=True)
    return code


def _print_outcome(outcome: "Outcome", *, as_json: bool, with_details: bool) -> None:
    from fit.desk.book.desk import first_lines, lines_of

    with reader_may_leave():
        if as_json:
            click.echo(_json(outcome.document))
        else:
            for line in lines_of(outcome, with_details=True) if with_details else first_lines(outcome):
                click.echo(plain_lines(line))
        sys.stdout.flush()
