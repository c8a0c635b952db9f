"""``imuproc simulate``: recordings with known truth."""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imuproc.cli.exit_codes import INTERRUPTED

if TYPE_CHECKING:
    from imuproc.core.sites import Site


@dataclass(frozen=True)
class SimulateOptions:
    """What ``imuproc simulate`` is asked for."""

    out: Annotated[
        Path,
        typer.Argument(help="Folder for the session; must be new or empty.", show_default=False),
    ]
    rate: Annotated[
        float | None,
        typer.Option("--rate", help="Sampling rate in Hz; must be given.", show_default=False),
    ] = None
    athletes: Annotated[int, typer.Option("--athletes", help="How many athletes.")] = 3
    runs: Annotated[int, typer.Option("--runs", help="How many runs each.")] = 3
    start: Annotated[
        list[str] | None,
        typer.Option(
            "--start",
            help="blocks, three-point, crouch, standing or rolling; given more than once: in turn.",
            show_default="blocks",
        ),
    ] = None
    distance: Annotated[float, typer.Option("--distance", help="Distance in m.")] = 30.0
    grade: Annotated[
        str, typer.Option("--grade", help="Sensors: ideal, mid, mid16g (feet clip at 16 g) or low.")
    ] = "mid"
    fault: Annotated[
        list[str] | None,
        typer.Option(
            "--fault",
            help="Fault of technique: toe-drop, reaching, early-upright or asymmetry; may be given "
            "again.",
            show_default="none",
        ),
    ] = None
    seed: Annotated[int, typer.Option("--seed", min=0, help="Same seed, same session.")] = 1
    sites: Annotated[
        list[str] | None,
        typer.Option(
            "--sites",
            help="Sensors besides those on shanks and feet: pelvis, thighs or trunk; may be given "
            "again.",
            show_default="none",
        ),
    ] = None
    clock: Annotated[
        str,
        typer.Option(
            "--clock",
            help="shared; jump (each sensor has its own, and there are jumps on both feet before "
            "and after each run) or separate.",
        ),
    ] = "shared"
    one_log: Annotated[
        bool,
        typer.Option(
            "--one-log",
            help="All runs of an athlete in one log, after a jump, with walking back between them.",
        ),
    ] = False
    gz: Annotated[bool, typer.Option("--gz", help="Write gzipped files.")] = False
    plan: Annotated[
        Path | None,
        typer.Option(
            "--plan",
            metavar="PLAN.TOML",
            help="Write no session: tell what accuracy to expect of the sensors and runs that this "
            "file describes, and how many steps or runs show a change. No other option goes with "
            "it.",
            show_default=False,
        ),
    ] = None


def simulate(options: SimulateOptions) -> None:
    """Make a session of recordings with known truth.

    Writes session.toml, logs/ and truth/. Motion comes from a 3-D model of sprinting legs, signals
    from a model of sensors: see what your sensors would be good for, or try the tool. With --plan
    it plans a study instead: accuracy.csv and changes.csv.
    """
    try:
        _simulate_or_plan(options)
    except KeyboardInterrupt:
        print(f"imuproc: interrupted; {options.out} is not whole, remove it", file=sys.stderr)
        raise typer.Exit(INTERRUPTED) from None


def _simulate_or_plan(options: SimulateOptions) -> None:
    if options.plan is not None:
        _plan_study(options, options.plan)
        return
    if options.rate is None:
        raise typer.BadParameter("it must be given, in Hz", param_hint="--rate")
    _write_session(options, options.rate)


def choose_sites(also: list[str]) -> "tuple[Site, ...]":
    """Shanks, feet, and those of pelvis, thighs and trunk that were asked for."""
    from imuproc.core.sites import SITES, is_lower_leg

    known = ("pelvis", "thighs", "trunk")
    for name in also:
        if name not in known:
            raise typer.BadParameter(
                f"found '{name}'; allowed: {', '.join(known)}", param_hint="--sites"
            )
    return tuple(
        site
        for site in SITES
        if is_lower_leg(site) or site in also or (site.endswith("thigh") and "thighs" in also)
    )


def _plan_study(options: SimulateOptions, path: Path) -> None:
    from imuproc.cli.planning import plan_study

    if options != SimulateOptions(options.out, plan=path):
        raise typer.BadParameter(
            "no other option goes with it: the file says it all", param_hint="--plan"
        )
    plan_study(options.out, path)


def _write_session(options: SimulateOptions, rate_hz: float) -> None:
    from dataclasses import replace

    from imuproc.cli.bar import show_bar
    from imuproc.synth.session import Squad, plan_session, write_session

    squad = Squad(
        athletes=options.athletes,
        runs=options.runs,
        starts=tuple(options.start or ["blocks"]),  # type: ignore[arg-type] # checked by the plan
        distance_m=options.distance,
        faults=tuple(options.fault or []),  # type: ignore[arg-type] # checked by the plan
        clock=options.clock,  # type: ignore[arg-type] # checked by the plan
    )
    plan = replace(
        plan_session(squad, rate_hz, options.grade, options.seed),
        one_log=options.one_log,
        sites=choose_sites(options.sites or []),
        compress=options.gz,
    )
    with show_bar("Runs", len(plan.runs)) as moved:
        path = write_session(options.out, plan, lambda: moved(advance=1))
    sys.stdout.write(f"Written: {path}\n")
