"""A run in the background, whose lines of progress the page reads."""

from __future__ import annotations

from dataclasses import dataclass, field
from threading import Thread
from typing import Literal

from estate import store
from estate.app.choices import RunChoices, plan_settings
from estate.app.outcome import ON_PAGE, outcome_in_words
from estate.app.runs import run_plan
from estate.app.web.desk import Desk, busy_error
from estate.app.web.speaking import page_words
from layers.errors import Fault, LayerError
from reports.words import LANGUAGES, mark

State = Literal["none", "going", "done", "failed"]


@dataclass(kw_only=True)
class RunWatch:
    """What the page knows of the run that goes on or that ended last.

    Parameters
    ----------
    desk
        What the runs work on.
    state
        ``none`` until the first run was asked for.
    lines
        The lines of progress of this run.
    outcome
        What the run found, in each language that the page speaks.
    words
        What went wrong.
    detail
        What the computer says of it, in its own words.
    faults
        What stopped the run, or what it noted in the layers.
    """

    desk: Desk
    state: State = "none"
    lines: list[str] = field(default_factory=list)
    outcome: dict[str, str] = field(default_factory=dict)
    words: str = ""
    detail: str = ""
    faults: tuple[Fault, ...] = ()

    @property
    def passed_over(self) -> tuple[Fault, ...]:
        """The manager's words on beats that no longer held in this run."""
        return tuple(f for f in self.faults if f.layer == store.CREW)

    def start(self, choices: RunChoices, *, language: str) -> Thread:
        """Begin a run.

        Raises
        ------
        SettingError
            A choice is out of its range, or a run or another change is on its way.
        """
        settings = plan_settings(self.desk.project, choices, notes=self.desk.notes)
        if not self.desk.busy.acquire(blocking=False):
            raise busy_error()
        self.state, self.lines, self.faults = "going", [], ()
        self.words = self.detail = ""
        self.outcome = {}

        def run() -> None:
            state: State = "failed"
            try:
                made = run_plan(
                    self.desk.source,
                    settings,
                    out=None,
                    epsg=None,
                    name=None,
                    language=language,
                    say=self.lines.append,
                    own_standards=choices.own_standards,
                )
                self.outcome = {
                    language: outcome_in_words(made, page_words(language), listed=ON_PAGE)
                    for language in LANGUAGES
                }
                self.faults = made.plan.faults
                state = "done"
            except LayerError as error:
                self.words = mark("The run stopped. What was handed out before is still there.")
                self.faults = faults_of(error)
            except OSError as error:
                self.words = mark("A file can't be read or written:")
                self.detail = f"{error.filename or ''} ({error.strerror or error})".strip()
            finally:
                if state == "failed" and not self.words:
                    self.words = mark(
                        "The run stopped at a fault of the program itself; the window in which "
                        "it was started shows more. What was handed out before is still there."
                    )
                self.state = state
                self.desk.busy.release()

        thread = Thread(target=run, name="estate run", daemon=True)
        thread.start()
        return thread


def faults_of(error: LayerError) -> tuple[Fault, ...]:
    """Give every fault that an error carries."""
    faults: tuple[Fault, ...] = getattr(error, "faults", (error.fault,))
    return faults
