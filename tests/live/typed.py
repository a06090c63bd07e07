"""Commands typed at the live bench: its rig, and how a process of its own is begun."""

JACK = ["--device", "bench", "--host-api", "JACK Audio Connection Kit"]


COMMAND = "from fit.desk.command.main import run; run()"
