# ruff: noqa: B018, F821
"""Names that nothing in the two packages reads, each with its reason; vulture reads this list as if it used them."""

__getattr__  # the interpreter calls it for public names that are loaded when they are first used
__dir__  # the interpreter calls it, for completion of those names
_repr_html_  # notebooks look for it
_repr_png_  # notebooks look for it
_repr_svg_  # notebooks look for it
writeable  # numpy reads it: the matrix is read-only from then on
create_module  # the import system calls it: a loader
exec_module  # the import system calls it: a loader
input_load  # a command of the command line, reached by its decorator
Axes  # type in quoted annotations
Draw  # type in quoted annotations
stated_instrument  # type in quoted annotations

std_f  # noise of a coupling at each frequency, beside its value: whoever plots it needs both
measured_rate_hz  # of a recording by the wall clock, that live tests hold against the server's
recording_sha256  # kept with a response and a calibration: which recordings they rest on
judged_utc  # kept in checks.json: when
n_measurements  # kept in checks.json: on how many takes
LetGo  # a type in a quoted annotation
UnraisableHookArgs  # type in quoted annotations
