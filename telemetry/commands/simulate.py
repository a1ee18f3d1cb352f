"""`rattletrace simulate`: practice logs with known truth."""

from __future__ import annotations

from pathlib import Path

import click

from telemetry.commands.options import EXIT_DONE, HELP, json_option

__all__ = ["simulate"]


@click.command(context_settings=HELP)
@click.option("--matches", type=click.IntRange(1, 500), default=6, show_default=True)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True)
@click.option("--out", type=click.Path(path_type=Path), required=True, metavar="DIR")
@json_option
def simulate(matches: int, seed: int, out: Path, as_json: bool) -> int:
    """Write practice logs of a robot that never existed, with the truth beside each, into DIR."""
    from telemetry.simulator import simulate_event

    try:
        paths = simulate_event(out, matches=matches, seed=seed)
    except OSError as error:
        raise click.ClickException(
            f"{out}: cannot be written ({error.strerror}); choose another folder"
        ) from error
    if as_json:
        import json

        click.echo(json.dumps({"schema": 1, "logs": [str(path) for path in paths]}, indent=1))
    else:
        click.echo(f"{len(paths)} logs, their truth and robot.toml in {out}")
    return EXIT_DONE
