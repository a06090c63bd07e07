"""What a stage of a guide looks at, without a session: a logbook, what is settled, and a bench that makes no take."""

from fit.desk.book.desk import Desk
from fit.desk.guide.scene import Bench, Scene
from fit.desk.guide.session import Entry, Manner, Memory

MANNER = Manner(how_to="how to answer", leaving="how to leave", rehearsal="how to rehearse")


def no_take(order):
    raise AssertionError(f"the take {order.name} was made")


def scene(folder, *, bench=None, job="pickup", is_asked=True, **settled):
    """`settled` by key; two underscores stand for a dot."""
    entries = tuple(Entry(key=key.replace("__", "."), answer=answer, is_asked=is_asked) for key, answer in settled.items())
    desk = Desk(logbook=folder, say=no_word, tell=no_word, steps=lambda items, _: items)
    bench = bench or Bench(take=no_take, offers=None, defaults={})
    return Scene(desk=desk, memory=Memory(job=job, entries=entries), bench=bench, manner=MANNER)


def no_word(line):
    raise AssertionError(f"said: {line}")
