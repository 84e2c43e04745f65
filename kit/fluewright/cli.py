"""The commands: parse what was asked, call a study, print what came of it."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fluewright.errors import FluewrightError, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

# Heavy imports wait until a command needs them: a kernel started early runs while they load.


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="fluewright")
def cli() -> None:
    """From the logs of a combustion test to an audit that can be defended."""


@cli.command()
@click.argument("visits", metavar="VISIT...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    default=Path("reports"),
    show_default=True,
    help="Folder for the reports.",
)
@click.option("--overwrite", is_flag=True, help="Replace reports that are already there and differ.")
def audit(visits: tuple[Path, ...], output: Path, overwrite: bool) -> None:
    """Make the audit of each VISIT folder: PDF, HTML and results.json."""
    from fluewright.report.audits import write_audits

    failed = []
    for written in write_audits(
        visits, output=output, overwrite=overwrite, progress=_step if sys.stderr.isatty() else None
    ):
        if written.error is not None:
            failed.append(str(written.error) if len(visits) == 1 else f"{written.visit}: {written.error}")
            continue
        for path in written.paths:
            click.echo(path)
        for message in written.messages:
            click.echo(message, err=True)
        click.echo(f"{written.visit.name}: {written.verdict}", err=True)
        for reason in written.because[:5]:
            click.echo(f"  {reason}", err=True)
    if failed:
        raise InputError("\n".join(failed))


@cli.command()
@click.argument("visit", type=click.Path(path_type=Path))
def check(visit: Path) -> None:
    """Read and check VISIT, and list every problem at once. Writes nothing."""
    from fluewright.studies import audit as study
    from fluewright.visit import Cell, open_visit
    from fluewright.visit.problems import shown

    opened = open_visit(visit)
    study.check(opened)
    click.echo(f"{visit}: nothing to put right")
    for account in opened.readings.accounts:
        for part in account.set_aside:
            click.echo(f"  {account.file}: {part.rows:,} of {account.read:,} rows set aside: {part.reason}")
        for note in account.notes:
            click.echo(f"  {account.file}: {note}")
    for name, channel in opened.readings.channels.items():
        if not opened.readings.cells(name)[Cell.NUMBER]:
            click.echo(f"  {channel.file}: column {shown(channel.column)} holds no number")


@cli.command()
@click.argument("visit", type=click.Path(path_type=Path))
def results(visit: Path) -> None:
    """Print the results.json of VISIT, without making a report."""
    from fluewright.studies import audit as study
    from fluewright.studies.results import results_text
    from fluewright.visit import open_visit

    click.echo(results_text(study.audit(open_visit(visit)).results), nl=False)


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--log",
    "logs",
    multiple=True,
    type=click.Path(path_type=Path),
    help="A log to copy in, with a proposed column map. May be given several times.",
)
def start(folder: Path, logs: tuple[Path, ...]) -> None:
    """Write a commented visit FOLDER to fill in."""
    from fluewright.visit import start_visit

    click.echo(start_visit(folder, logs=logs))


@cli.command("fuel-switch")
@click.argument("request", required=False, type=click.Path(path_type=Path))
@click.option(
    "--visit", type=click.Path(path_type=Path), help="A visit folder, instead of REQUEST: as tested."
)
@click.option("--to", multiple=True, metavar="FUEL", help="With --visit: a fuel to compare. May be repeated.")
@click.option(
    "--output",
    type=click.Path(path_type=Path),
    default=Path("reports"),
    show_default=True,
    help="Folder for the study.",
)
@click.option("--overwrite", is_flag=True, help="Replace a study that is already there and differs.")
def fuel_switch(
    request: Path | None, visit: Path | None, to: tuple[str, ...], output: Path, overwrite: bool
) -> None:
    """Study what changes when an appliance burns another fuel: REQUEST (TOML), or a visit and fuels."""
    from fluewright.report.fuel_switch import write_fuel_switch

    written = write_fuel_switch(
        request,
        visit=visit,
        to=to,
        output=output,
        overwrite=overwrite,
        progress=_step if sys.stderr.isatty() else None,
    )
    for path in written.paths:
        click.echo(path)
    for line in (*written.conclusions, *written.messages):
        click.echo(line, err=True)


@cli.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--scenario", default="hall-furnace", show_default=True, help="What is simulated.")
@click.option("--seed", type=int, default=1, show_default=True, help="The same seed makes the same visit.")
@click.option("--fault", default=None, help="A fault to plant, by name, or 'random'.")
@click.option(
    "--difficulty",
    default="normal",
    show_default=True,
    help="easy, normal or hard: how plainly the fault shows.",
)
@click.option("--severity", type=float, help="Instead of a difficulty: a number; 1 calls for action.")
@click.option(
    "--truth",
    type=click.Path(path_type=Path),
    default=None,
    help="Where the truth goes; by default truth/NAME.json beside FOLDER.",
)
def practice(
    folder: Path,
    scenario: str,
    seed: int,
    fault: str | None,
    difficulty: str,
    severity: float | None,
    truth: Path | None,
) -> None:
    """Write a simulated visit FOLDER with a known truth, for training."""
    from fluewright.studies.practice import practice_visit, severity_of

    made = practice_visit(
        folder,
        scenario=scenario,
        seed=seed,
        fault=fault,
        severity=severity_of(difficulty) if severity is None else severity,
        truth=truth,
    )
    click.echo(made.folder)
    click.echo(made.truth)


@cli.command()
@click.argument("output", type=click.Path(path_type=Path))
@click.option("--seed", type=int, required=True, help="The same seed makes the same sheets.")
@click.option(
    "--students", type=click.Path(path_type=Path), required=True, help="A text file, one name to a line."
)
@click.option(
    "--level",
    default="working",
    show_default=True,
    help="basic, working or advanced: one step to the whole way.",
)
@click.option("--units", default="US", show_default=True, help="US or SI.")
@click.option("--topics", default="", help="Topics between commas; all of them if not given.")
def worksheet(output: Path, seed: int, students: Path, level: Any, units: Any, topics: str) -> None:
    """Write a worksheet for every student into the folder OUTPUT, and one answer key."""
    from fluewright.report.worksheet import write_worksheets
    from fluewright.studies.worksheet import TOPICS

    chosen = [topic for topic in topics.split(",") if topic.strip()] or TOPICS
    made = write_worksheets(
        students,
        output=output,
        seed=seed,
        level=level,
        system=units,
        topics=chosen,
        progress=_step if sys.stderr.isatty() else None,
    )
    for path in made:
        click.echo(path)


@cli.command()
@click.argument("audits", metavar="AUDIT...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--truth",
    type=click.Path(path_type=Path),
    required=True,
    help="The truth of the practice visit, or the folder that holds NAME.json for each audit.",
)
@click.option("--named", multiple=True, help="A fault that the student named. May be given several times.")
def mark(audits: tuple[Path, ...], truth: Path, named: tuple[str, ...]) -> None:
    """Mark the results.json (or the folder) of practice visits: what was found, missed or invented."""
    from fluewright.studies.marking import mark_audit

    if named and len(audits) > 1:
        raise InputError("--named is what one student said; mark one audit at a time")
    for audit in audits:
        made = mark_audit(audit, truth=truth, named=named)
        click.echo(made.visit)
        for line in made.words:
            click.echo(f"  {line}")


def _step(doing: str, step: int, steps: int) -> None:
    """Show progress on one line that is written over, and cleared at the end."""
    width = 24
    done = "#" * (width * step // steps)
    end = "\r" + " " * 79 + "\r" if step == steps else ""
    click.echo(f"\r[{done:<{width}}] {doing:<40}{end}", err=True, nl=False)


def main(arguments: Sequence[str] | None = None) -> Any:
    """Run the command line; exit 0 done, 1 the input is wrong, 2 usage."""
    try:
        cli.main(args=None if arguments is None else list(arguments), standalone_mode=False)
    except FluewrightError as error:
        click.echo(f"fluewright: {error}", err=True)
        sys.exit(1)
    except click.UsageError as error:
        error.show()
        sys.exit(2)
    except click.exceptions.Abort:
        sys.exit(1)
    except BrokenPipeError:
        sys.exit(0)
