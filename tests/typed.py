"""What a command hands to the desk when it is typed: the desk's function is replaced by one that keeps what it got."""

import importlib
import pkgutil

import fit.desk
from fit.desk.book.desk import Outcome
from tests.desk_bench import run

# A module that is first imported while a function is replaced would keep what replaced it.
for module in pkgutil.walk_packages(fit.desk.__path__, "fit.desk."):
    importlib.import_module(module.name)

DONE = Outcome(lines=("done",), document={"schema": "coilsweep.test/1"})


class Caught:
    """Arguments and options of the calls so far."""

    def __init__(self, reply=DONE):
        self.reply, self.calls = reply, []

    def __call__(self, *args, **options):
        self.calls.append((args, options))
        return self.reply

    @property
    def args(self):
        ((args, _),) = self.calls
        return args

    @property
    def options(self):
        ((_, options),) = self.calls
        return options


def catch(monkeypatch, place, reply=DONE):
    """Put a function that keeps its arguments in place of one of the desk's, named by its dotted path."""
    caught = Caught(reply)
    monkeypatch.setattr(place, caught)
    return caught


def typed(capsys, *words):
    """What a command says on stdout; it has to go well."""
    code, out, err = run(capsys, *words)
    assert code == 0, err
    return out


def refused(capsys, *words):
    """The one line by which a command is refused as wrong use."""
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, ""), err
    assert err.startswith("coilsweep: ")
    assert err.count("\n") == 1
    return err
