"""The command schema, as it is typed."""

import click

from fit.desk.command.console import json_text, reader_may_leave


@click.command()
@click.argument("name", required=False, metavar="[NAME]")
def schema(name: str | None) -> None:
    """Say what the documents of --json hold.

    Without NAME, all documents in one line each; with it, for example fit, the JSON Schema (2020-12) of that one: its keys, what
    they mean, and in which units.
    """
    from fit.desk.show.document.catalogue import DOCUMENTS, json_schema, summary
    from fit.desk.show.words import table_lines

    lines = table_lines([(one, summary(one)) for one in DOCUMENTS]) if name is None else [json_text(json_schema(name))]
    with reader_may_leave():
        for line in lines:
            click.echo(line)
