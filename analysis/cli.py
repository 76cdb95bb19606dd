"""The ``steadyfall`` command: arguments, progress and exit status; the only print."""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

import click

from analysis.errors import OutputError, SteadyfallError

# Everything heavy is imported where a command needs it, so that help comes at once.
if TYPE_CHECKING:
    import pandas as pd

    from analysis.audit import AuditResult
    from analysis.intake.layout import Layout
    from analysis.policy import Policy
    from analysis.research import Study

_NOT_USED = 2  # exit status where the input or the request could not be used
_FAULT = 3  # exit status of a fault of the program

_EXPORTS = click.argument(
    "exports",
    nargs=-1,
    required=True,
    type=click.Path(path_type=Path),
    metavar="EXPORT...",
)
_POLICY = click.option(
    "--policy",
    "policy_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Limits of your service (TOML); `steadyfall policy` prints one to start from.",
)
_LAYOUT = click.option(
    "--layout",
    "layout_file",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="How your export maps to the tables (TOML); `steadyfall layout` prints one.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="steadyfall", message="steadyfall %(version)s")
def steadyfall() -> None:
    """Audit logs of syringe-driver checks, looking back.

    Compares the volumes charted with the delivery that was set, checks and line changes
    with your policy, and counts site reactions. It is no alarm and gives no dosing
    advice; a finding is a reason to read the chart. Local policy and licensed staff
    decide.
    """


@steadyfall.command()
@_EXPORTS
@click.option("--month", metavar="YYYY-MM", help="Month of the report.")
@_POLICY
@_LAYOUT
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder of the report. Without it: reports/<month>.",
)
@click.option(
    "--review",
    "review_files",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="FILE",
    help="A review.xlsx or review.csv with decisions; may be given more than once.",
)
@click.option(
    "--list-limit",
    type=click.IntRange(min=1),
    default=12,
    show_default=True,
    metavar="N",
    help="Longest list of charts to pull.",
)
@click.option("--tables-only", is_flag=True, help="Write the tables and no report.")
@click.option(
    "--workers",
    type=click.IntRange(min=1, max=60),
    default=1,
    show_default=True,
    metavar="N",
    help="Processes of this machine to share the work among, for large exports. The "
    "tables are the same.",
)
@click.option(
    "--scheduler",
    metavar="ADDRESS",
    help="Share the work among the workers of this Dask scheduler instead, such as "
    "tcp://127.0.0.1:8786 (needs steadyfall[cluster]). They receive rows about "
    "patients: use only a cluster that your service trusts and has approved. Beyond "
    "this machine only tls:// is accepted.",
)
def audit(  # noqa: PLR0913 - one argument an option
    exports: tuple[Path, ...],
    month: str | None,
    policy_file: Path | None,
    layout_file: Path | None,
    out: Path | None,
    *,
    review_files: tuple[Path, ...],
    list_limit: int,
    tables_only: bool,
    workers: int,
    scheduler: str | None,
) -> None:
    """Audit a check log: EXPORT... are files of checks, infusions and lines.

    CSV (comma, semicolon or tab) or .xlsx. Which table a file or sheet holds is told by
    its headers and values; a check log alone is enough.
    """
    from analysis.review import read_decisions

    if scheduler and workers > 1:
        raise click.UsageError("--workers and --scheduler: use one of the two")
    settings = _settings(policy_file, layout_file)
    asked: dict[str, Any] = {
        "given": read_decisions(review_files),
        "list_limit": list_limit,
        "tables_only": tables_only,
    }
    _audit(exports, settings, month, out, spread=(workers, scheduler), **asked)


def _settings(
    policy_file: Path | None, layout_file: Path | None
) -> "tuple[Policy, Layout | None]":
    from analysis.intake.layout_file import load_layout
    from analysis.policy import Policy

    policy = Policy.load(policy_file) if policy_file else Policy.example()
    return policy, load_layout(layout_file) if layout_file else None


@steadyfall.command()
@_EXPORTS
def layout(exports: tuple[Path, ...]) -> None:
    """Print a layout for EXPORT...: what was recognised, and what must be settled.

    A layout (TOML) says how an export maps to the tables of `steadyfall dictionary`,
    with the reason for each entry. Save it, answer every "?" in it, and give it with
    --layout: `steadyfall layout EXPORT... > layout.toml`.
    """
    from analysis.intake.exports import read_raws
    from analysis.intake.layout_text import to_toml
    from analysis.intake.recognise import propose_all

    proposals = propose_all(read_raws(exports))
    click.echo(to_toml(proposals), nl=False)
    asked = [
        f"{p.file}: {q.text}"
        for p in proposals
        for q in p.questions
        if q.blocks and not p.is_beside
    ]
    if asked:
        click.echo(
            "Before this layout can be used, settle (write the answer in place of each "
            '"?"):',
            err=True,
        )
        click.echo("\n".join(f"  {point}" for point in asked), err=True)


@steadyfall.command()
@_EXPORTS
@_POLICY
@_LAYOUT
def intake(
    exports: tuple[Path, ...], policy_file: Path | None, layout_file: Path | None
) -> None:
    """Read EXPORT... and say what became of every row: a dry run.

    Says what was recognised and settled, what could not be read and why, what had to be
    derived, and how the log was charted. Nothing is written.
    """
    import pandas as pd

    from analysis.intake import read_exports
    from analysis.report.dry_run import dry_run

    policy, mapped = _settings(policy_file, layout_file)
    now = pd.Timestamp.now("UTC")
    with _progress() as say:
        say("reading the export")
        log = read_exports(exports, policy, mapped)
    click.echo("\n".join(dry_run(log, layout_file, now)))


def _account_lines(account: "pd.DataFrame") -> list[str]:
    return [
        f"{row['file']}: {row['rows_read']} rows read, {row['accepted']} accepted, "
        f"{row['rejected']} rejected, {row['superseded']} superseded, "
        f"{row['exact_duplicates']} exact duplicates"
        for row in account.to_dict("records")
    ]


@steadyfall.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("reports/demo"),
    metavar="DIR",
    help="Folder of the report.",
    show_default=True,
)
def demo(out: Path) -> None:
    """Audit the demo log of an invented health service."""
    from analysis.policy import Policy

    with resources.as_file(resources.files("analysis._demo")) as folder:
        policy = Policy.load(folder / "policy.toml")
        exports = [
            folder / name for name in ("checks.csv", "infusions.csv", "lines.csv")
        ]
        _audit(exports, (policy, None), None, out, is_demo=True)


@steadyfall.command()
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="OTHER",
    help="Folder of the summary, apart from the report.",
)
@click.option(
    "--smallest",
    type=int,
    metavar="N",
    help="Patients below which a figure is held back. Without it: the policy's.",
)
def share(folder: Path, out: Path, smallest: int | None) -> None:
    """Make a summary of the report in DIR that may be shared: figures of wards only.

    Wards with few patients are put together, and whatever few patients stand behind is
    held back: "fewer than 5".
    """
    from analysis.share import share as write_summary

    click.echo(f"Summary: {write_summary(folder, out, smallest)}")


@steadyfall.command()
@_EXPORTS
@click.option("--infusion", default="", metavar="ID", help="The infusion, by its id.")
@click.option("--patient", default="", metavar="ID", help="Or: the patient, with --at.")
@click.option(
    "--at", default="", metavar="TIME", help="A time at which it ran: 2026-10-21T14:05."
)
@_POLICY
@_LAYOUT
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Folder of the review. Without it: reports/incident-<id>.",
)
def incident(  # noqa: PLR0913, PLR0917 - one argument an option
    exports: tuple[Path, ...],
    infusion: str,
    patient: str,
    at: str,
    policy_file: Path | None,
    layout_file: Path | None,
    out: Path | None,
) -> None:
    """Review one infusion of EXPORT... after an incident, in one document.

    Everything the log holds about it, row by row, with what the readings are consistent
    with, what would confirm each explanation, and room for the reviewer's conclusion.
    """
    from analysis.incident import Asked, Files, publish_incident

    asked = Asked(infusion=infusion, patient=patient, at=at).checked()
    files = Files(exports=exports, policy_file=policy_file, layout_file=layout_file)
    with _progress() as say:
        page, account = publish_incident(files, asked, out, progress=say)
    click.echo("\n".join(_account_lines(account)))
    if whose := files.policy().whose:
        click.echo(whose)
    click.echo(f"Review: {page}")


@steadyfall.command()
@_EXPORTS
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    metavar="DIR",
    help="Folder of the study.",
)
@_POLICY
@_LAYOUT
@click.option(
    "--secret",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Key of the pseudonyms; made if it is not there, and never part of the study. "
    "Without it: a file in your own settings. A study of its own has a key of its own.",
)
@click.option(
    "--smallest",
    type=int,
    metavar="N",
    help="Patients that each combination of ward, location and drugs in the extract "
    "has. Without it: the policy's.",
)
@click.option(
    "--whole-days",
    is_flag=True,
    help="Round hours in the extract to whole days; the report says what that helps.",
)
@click.option("--tables-only", is_flag=True, help="Write the tables and no report.")
def research(  # noqa: PLR0913 - one argument an option
    exports: tuple[Path, ...],
    out: Path,
    policy_file: Path | None,
    layout_file: Path | None,
    secret: Path | None,
    *,
    smallest: int | None,
    whole_days: bool,
    tables_only: bool,
) -> None:
    """Study site reactions: rates, time to reaction, associations, and an extract.

    The extract is reduced-identifier, not anonymous, and needs local approval before it
    leaves the service.
    """
    from analysis.report.research import check_study_folder, publish_study
    from analysis.research import run_study
    from analysis.research.extract import smallest_allowed
    from analysis.research.secret import load_secret

    limits, mapped = _settings(policy_file, layout_file)
    least = smallest_allowed(limits, smallest)
    check_study_folder(out)
    own = Path(click.get_app_dir("steadyfall")) / "research.key"
    key = load_secret(secret or own, out)
    with _progress() as say:
        study, extract = run_study(
            exports,
            limits,
            key,
            layout=mapped,
            least=least,
            whole_days=whole_days,
            progress=say,
        )
        where = publish_study(
            study, extract, out, tables_only=tables_only, progress=say
        )
    click.echo("\n".join([*_account_lines(study.account), *_study_lines(study)]))
    click.echo(_extract_line(extract is not None, out, secret or own))
    click.echo(f"{'Tables' if tables_only else 'Report'}: {where}")


def _study_lines(study: "Study") -> list[str]:
    """Say in a few lines what a study found."""
    from analysis.report.research.words import counted, sites_words

    lines = [sites_words(study)]
    if study.absent:
        return [*lines, study.absent]
    rate = study.rates.iloc[0]
    reactions = counted(rate["events"], "first reaction")
    lines.append(f"{reactions} in {rate['exposure_days']:,.1f} site-days")
    if study.policy.whose:
        lines.append(study.policy.whose)
    return lines


def _extract_line(is_written: bool, out: Path, key: Path) -> str:  # noqa: FBT001
    if not is_written:
        return "No extract: the log has too few patients for one"
    return (
        f"Extract: {out / 'extract'} (reduced-identifier, not anonymous; needs local "
        f"approval; its key, which stays here: {key})"
    )


@steadyfall.command()
def policy() -> None:
    """Print the example policy: save it, and write your own limits into it."""
    from analysis.policy import example_text

    click.echo(example_text(), nl=False)


@steadyfall.command()
@click.option("--output", "is_output", is_flag=True, help="Tables written, not read.")
def dictionary(*, is_output: bool) -> None:
    """Print the data dictionary: every column, its unit and its meaning."""
    from analysis.columns import (
        CANONICAL,
        OUTPUT,
        REVIEW_OUTPUT,
        dictionary_markdown,
    )

    tables = (*OUTPUT, *REVIEW_OUTPUT) if is_output else CANONICAL
    click.echo(dictionary_markdown(tables), nl=False)


@steadyfall.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR",
    help="Folder for the files; made if it is not there.",
)
def simulate(out: Path) -> None:
    """Write the demo log and its planted truth, byte for byte as shipped."""
    from analysis.synthetic import demo_log, write_log

    out.mkdir(parents=True, exist_ok=True)
    if any(out.iterdir()) and not (out / "truth_infusions.csv").exists():
        msg = f"{out}: holds files that are not a simulated log; choose another folder"
        raise OutputError(msg)
    write_log(demo_log(), out)
    click.echo(f"Written: {out}")


@steadyfall.command()
@click.option("--infusions", default=6000, show_default=True, help="About so many.")
@click.option("--seed", default=2, show_default=True, help="Same seed, same figures.")
@click.option(
    "--setting",
    type=click.Choice(["ordinary", "hard", "few_events", "many_events"]),
    default="ordinary",
    show_default=True,
    help="Kind of log.",
)
@click.option(
    "--compare",
    "is_compared",
    is_flag=True,
    help="Beside it: a change-point search and an isolation forest "
    "(needs steadyfall[compare]).",
)
@click.option(
    "--intervals",
    "is_intervals",
    is_flag=True,
    help="Instead: how often the 95 % intervals of proportions hold the truth "
    "(some minutes).",
)
@click.option(
    "--small",
    "is_small",
    is_flag=True,
    help="Instead: what is found in logs of 5, 15 and 30 infusions, each judged by "
    "itself (some minutes).",
)
def evaluate(  # noqa: PLR0913 - one argument an option
    infusions: int,
    seed: int,
    setting: str,
    *,
    is_compared: bool,
    is_intervals: bool,
    is_small: bool,
) -> None:
    """Measure by simulation what the audit finds, and how often it flags wrongly.

    With --intervals: the 95 % intervals of measures.csv on wards whose patients differ.
    In a log of some two hundred patients they hold the truth in 93 to 99 of 100 logs,
    more often where wards differ; in a log of a dozen patients in 76 to 99: read the
    intervals of a small log as too narrow.
    """
    if is_intervals:
        _print_coverage(seed)
        return
    if is_small:
        _print_small(infusions, seed, setting)
        return
    from analysis.evaluate import evaluate
    from analysis.evaluate.words import evaluation_lines

    with _progress() as say:
        outcome = evaluate(
            infusions, seed, setting=setting, is_compared=is_compared, progress=say
        )
    click.echo("\n".join(evaluation_lines(outcome)))


def _print_small(infusions: int, seed: int, setting: str) -> None:
    from analysis.evaluate import small_lines, small_logs

    with _progress() as say:
        outcome = small_logs(infusions, seed, setting=setting, progress=say)
    click.echo("\n".join(small_lines(outcome)))


def _print_coverage(seed: int) -> None:
    from analysis.evaluate import COVERAGE_LOGS, coverage_lines, interval_coverage

    with _progress() as say:
        outcome = interval_coverage(COVERAGE_LOGS, seed, progress=say)
    click.echo("\n".join(coverage_lines(outcome)))


def _audit(  # noqa: PLR0913 - one argument an option of the command
    exports: Sequence[Path],
    settings: "tuple[Policy, Layout | None]",
    month: str | None,
    out: Path | None,
    *,
    is_demo: bool = False,
    spread: tuple[int, str | None] = (1, None),
    **asked: Any,
) -> None:
    """Run the audit, publish it as asked and say what was done.

    The demo log is of a service that is not real: what is later than today is there
    right.
    """
    import pandas as pd

    from analysis.audit import run_audit
    from analysis.memory import free_bytes, shortage
    from analysis.report import check_output_folder, publish
    from analysis.workers import spread_over

    policy, mapped = settings
    now = None if is_demo else pd.Timestamp.now("UTC")
    if out is not None:
        check_output_folder(out)
    if short := shortage(set(exports), free_bytes()):
        click.echo(short, err=True)
    with _progress() as say, spread_over(*spread) as run:
        result = run_audit(
            exports,
            policy,
            month=month,
            layout=mapped,
            progress=say,
            now=now,
            run=run,
        )
        where = publish(
            result,
            out or Path("reports") / result.month,
            progress=say,
            run=run,
            **asked,
        )
    click.echo(_summary(result))
    click.echo(f"{'Tables' if asked.get('tables_only') else 'Report'}: {where}")


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Show the step at work and the time gone by, where there is a terminal."""
    from tqdm import tqdm

    bar_format = "{desc} ({elapsed})"
    with tqdm(disable=None, leave=False, bar_format=bar_format, file=sys.stderr) as bar:
        is_over = Event()
        # A long step says nothing for a while; the time gone by goes on.
        clock = Thread(target=_tick, args=(bar.refresh, is_over), daemon=True)
        if not bar.disable:
            clock.start()
        try:
            yield bar.set_description_str
        finally:
            is_over.set()
            if clock.is_alive():
                clock.join()


def _tick(refresh: Callable[[], object], is_over: Event) -> None:
    """Show the time gone by every second until the work is over."""
    while not is_over.wait(1.0):
        refresh()


def _summary(result: "AuditResult") -> str:
    """Say in a few lines what was read and what was found."""
    from analysis.report.sections.words import some

    account = result.account
    lines = _account_lines(account)
    if len(result.set_aside):
        lines.append(f"cells set aside: {len(result.set_aside)} (tables/set_aside.csv)")
    evaluable = int((result.infusions["evaluable"] == "yes").sum())
    lines.append(
        f"{some(len(result.infusions), 'infusion')}, {evaluable} compared with "
        f"{'its' if len(result.infusions) == 1 else 'their'} expected line"
    )
    mine = result.findings[result.findings["month"] == result.month]
    counts = mine["group"].value_counts().sort_index()
    told = ", ".join(f"{name} {count}" for name, count in counts.items())
    lines.append(
        f"{some(len(mine), 'finding')} in {result.month}"
        + (f": {told}" if told else "")
    )
    if result.policy.whose:
        lines.append(result.policy.whose)
    return "\n".join(lines)


def main() -> None:
    """Run the command; every failure ends in one sentence and a non-zero status."""
    try:
        steadyfall.main(standalone_mode=False)
    except SteadyfallError as error:
        click.echo(f"steadyfall: {error}", err=True)
        sys.exit(_NOT_USED)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("steadyfall: stopped; nothing was published", err=True)
        sys.exit(130)
    except BrokenPipeError:
        sys.exit(1)
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        click.echo(f"steadyfall: {where}{error.strerror or error}", err=True)
        sys.exit(_NOT_USED)
    except MemoryError:
        click.echo("steadyfall: not enough memory for an export of this size", err=True)
        sys.exit(_FAULT)
    except Exception as error:  # noqa: BLE001 - the last resort: no traceback to a user
        click.echo(
            f"steadyfall: a fault of the program ({type(error).__name__}: {error}); "
            "nothing was published, please report it",
            err=True,
        )
        sys.exit(_FAULT)


if __name__ == "__main__":
    main()
