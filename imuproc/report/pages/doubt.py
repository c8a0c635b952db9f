"""What is wrong with a run as a whole, and what of it can still be used."""

from dataclasses import dataclass

from imuproc.core.flag_list import FLAGS
from imuproc.core.flag_policy import find_doubted_sides
from imuproc.core.flag_words import describe_site
from imuproc.files.text import clean_text
from imuproc.report.pages.labels import LABELS
from imuproc.report.pages.view import RunView


@dataclass(frozen=True)
class Trust:
    """How much of a figure is there, and what speaks against using it.

    Parameters
    ----------
    name : str
    have, of : int
        Steps of the effort that have it, and all of them.
    doubted : str
        ``left``, ``right`` or ``left and right``; empty where nothing speaks against it.
    """

    name: str
    have: int
    of: int
    doubted: str = ""

    @property
    def words(self) -> str:
        """In how many steps the figure is given, and where not to trust it."""
        if self.have == 0:
            return "not given"
        given = "all steps" if self.have == self.of else f"{self.have} of {self.of} steps"
        return f"{given}, but do not trust the {self.doubted}" if self.doubted else given


def list_trouble(view: RunView) -> list[str]:
    """Sentences that come before all else where a run is in trouble."""
    if view.failed:
        return [f"This run could not be processed: {clean_text(view.summary.reason)}"]
    if not view.has_steps:
        return ["No steps were found in this run."]
    out = []
    for name in dict.fromkeys(flag.name for flag in view.serious_flags()):
        flag = FLAGS[name]
        sites = sorted(
            {
                clean_text(describe_site(f))
                for f in view.serious_flags()
                if f.name == name and f.site
            }
        )
        told = f" ({', '.join(sites)})" if sites else ""
        out.append(f"{flag.sentence[:-1]}{told}. {flag.advice}")
    return out or ["Many figures are missing in this run; see below which ones are there."]


def list_trusted(view: RunView) -> list[Trust]:
    """What can still be used: each shown figure and in how many steps it is there."""
    doubted = find_doubted_sides(view.serious_flags())
    return [
        Trust(LABELS[name].short, have, of, " and ".join(sorted(doubted.get(name, ()))))
        for name, (have, of) in view.count_measured().items()
        if of
    ]
