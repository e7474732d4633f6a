"""One call of `jobtape draft`: the sources of a day in, a folder a job out; each source's fault is its own."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline import given, run, versions
from pipeline.compose import with_problem
from pipeline.draft import Draft
from pipeline.edits import Edit, edits_beside
from pipeline.errors import InputError, ReportError
from pipeline.hear import Heard, HearSettings, hear
from pipeline.ingest import Source, survey
from pipeline.jobfolder import DRAFT, Call, OutFolder, Owner, edits_digest
from pipeline.keep import Keep, digest_of, make_folder, only_call
from pipeline.plan import JobPlan, made_with, part_of, plans_of
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.shop import Shop

Progress = Callable[[str, float, float], None]
"""Told what is being done, and how many seconds (or jobs) of how many are done."""


@dataclass(frozen=True)
class Fault:
    """A source, or a job, that could not be done, and why."""

    what: str
    error: ReportError


@dataclass(frozen=True)
class Job:
    """A drafted job: its folder, the draft as it stands with a person's edits on it, and the files beside it."""

    name: str
    folder: Path
    draft: Draft
    files: tuple[str, ...]


@dataclass(frozen=True)
class Day:
    """What a call came to. `unchanged`: everything was there already and nothing was written."""

    jobs: tuple[Job, ...]
    faults: tuple[Fault, ...] = ()
    notes: tuple[str, ...] = ()
    unchanged: bool = False


@dataclass(frozen=True)
class Wish:
    """What the call asks for besides its sources."""

    one_job: bool = False
    given: given.Given = field(default_factory=given.Given)


def draft_day(paths: Iterable[Path], out: Path, settings: Settings, wish: Wish, progress: Progress) -> Day:
    """Drafts every job in the sources into its folder under `out`.

    A source or job with a fault does not stop the others. Nothing is done again that an earlier call with the
    same sources, settings and program has done. Raises SetupError when the output folder cannot be used,
    StoreError when another call works in it.
    """
    make_folder(out)
    folder = OutFolder(out)
    settings = settings.with_work(folder.work)
    with only_call(settings.work or folder.work):
        folder.sweep()
        return _Call(folder, settings, wish, progress).done(paths)


class _Call:
    """One call in work: what its steps share."""

    def __init__(self, folder: OutFolder, settings: Settings, wish: Wish, progress: Progress) -> None:
        self.folder = folder
        self.settings = settings
        self.wish = wish
        self.progress = progress
        self.ledger = folder.ledger()
        self.keep = Keep(settings.work or folder.work)
        self.faults: list[Fault] = []
        self.notes: list[str] = []
        self.given: dict[Path, given.Given] = {}
        self.shop: Shop | None = None
        self.key = ""

    def done(self, paths: Iterable[Path]) -> Day:
        sources = self._readable(self._surveyed(paths))
        self.shop = _shop_of(self.settings, sources, self.folder.path)
        self.key = self._key(sources)
        if (before := self._as_before()) is not None:
            return before
        heard = self._heard(sources)
        jobs = self._drafted(heard)
        self._note_leftovers(sources, jobs)
        self._remember(jobs)
        return Day(tuple(jobs), tuple(self.faults), tuple(self.notes))

    def _surveyed(self, paths: Iterable[Path]) -> list[Source]:
        """All sources that can be opened, each once, in the order given; the others' faults are noted."""
        found: dict[Path, Source] = {}
        for path in paths:
            try:
                sources = survey([path])
            except ReportError as error:
                self.faults.append(Fault(str(path), error))
                continue
            for source in sources:
                if source.fault is not None:
                    self.faults.append(Fault(str(source.path), source.fault))
                else:
                    found.setdefault(source.path.resolve(), source)
        return list(found.values())

    def _readable(self, sources: Sequence[Source]) -> list[Source]:
        """The sources whose job.toml can be read, if they have one; `given` is filled on the way."""
        bad: set[Path] = set()
        for file in given.beside(source.path for source in sources):
            try:
                self.given[file.parent] = given.read_file(file)
            except InputError as error:
                self.faults.append(Fault(str(file), error))
                bad.add(file.parent)
        return [source for source in sources if source.path.parent not in bad]

    def _key(self, sources: Sequence[Source]) -> str:
        """The hash of all that decides what this call writes."""
        from pipeline.speech_models import find_model

        parts = [versions.program(), versions.whole(), self.settings.hearing, str(self.wish), repr(self.given)]
        parts += [repr(self.shop), *(f"{fault.what}: {fault.error}" for fault in self.faults)]
        parts += [f"{source.path.resolve()}|{source.sha256}" for source in sources]
        if any(source.kind == "sound" for source in sources):
            # A missing model is told for each recording when it is heard; here it only makes another key.
            try:
                parts.append(find_model(self.settings.model).sha256)
            except ReportError as error:
                parts.append(str(error))
        return digest_of(*parts)

    def _as_before(self) -> Day | None:
        """What the same call came to before, when all that it wrote is still there."""
        call = self.ledger.calls.get(self.key)
        if call is None:
            return None
        if not all(self.folder.stands(name, self.ledger.jobs.get(name), self.key) for name in call.jobs):
            return None
        jobs = []
        for name in call.jobs:
            draft = self.folder.draft(name)
            if draft is None:
                return None
            jobs.append(self._job(draft, tuple(self.ledger.jobs[name].files)))
        faults = tuple(Fault(what, InputError(code, message, hint)) for what, code, message, hint in call.faults)
        return Day(tuple(jobs), faults, call.notes, unchanged=True)

    def _job(self, draft: Draft, files: tuple[str, ...]) -> Job:
        folder = self.folder.path / draft.name
        return Job(draft.name, folder, run.edited(draft, _edits(folder), shop=self.shop), files)

    def _heard(self, sources: Sequence[Source]) -> list[tuple[Source, Heard]]:
        """Every source as timed text; one that cannot be heard is noted and left out."""
        heard: list[tuple[Source, Heard]] = []
        for source in sources:
            settings = HearSettings(
                model=self.settings.model, hearing=self.settings.hearing, threads=self.settings.threads
            )

            def tell(done_s: float, all_s: float, name: str = source.path.name) -> None:
                self.progress(f"hearing {name}", done_s, all_s)

            try:
                heard.append((source, hear(source, settings, tell, keep=self.keep)))
            except Exception as error:
                self.faults.append(Fault(str(source.path), _told(error)))
        return heard

    def _drafted(self, heard: Sequence[tuple[Source, Heard]]) -> list[Job]:
        """Every job drafted and written; one that cannot be written is noted and left as it was."""
        jobs: list[Job] = []
        plans, fault = plans_of([one for _, one in heard], one_job=self.wish.one_job)
        taken: list[str] = []
        counted: dict[int, int] = {}
        named = []
        for plan in plans:
            first = plan[0][0]
            counted[first] = counted.get(first, 0) + 1
            source = heard[first][0]
            name = self.folder.name_for(source.name, source.path, source.sha256, counted[first], self.ledger, taken)
            taken.append(name)
            named.append((name, counted[first], plan))
        self._note_unknown_tables(taken, [source for source, _ in heard])
        for number, (name, ordinal, plan) in enumerate(named):
            self.progress(f"drafting {name}", number, len(named))
            try:
                draft = self._draft(name, plan, heard)
                if fault is not None:
                    draft = with_problem(draft, "extract", "split-failed", fault)
                jobs.append(self._written(draft, ordinal, [heard[index][0] for index, _ in plan]))
            except Exception as error:
                self.faults.append(Fault(name, _told(error)))
        self.progress("drafting", len(named), len(named))
        return jobs

    def _draft(self, name: str, plan: JobPlan, heard: Sequence[tuple[Source, Heard]]) -> Draft:
        sources = [heard[index] for index, _ in plan]
        values: dict[str, str] = {}
        for source, _ in reversed(sources):
            values |= self.given.get(source.path.parent, given.Given()).of(name)
        values |= self.wish.given.of(name)
        parts = [part_of(*heard[index], chosen) for index, chosen in plan]
        draft = run.started(name, parts, made_with([one for _, one in sources]), values)
        for problem in (problem for _, one in sources for problem in one.problems):
            draft = with_problem(draft, problem.stage, problem.code, problem.message)
        return run.drafted(draft, shop=self.shop)

    def _written(self, draft: Draft, ordinal: int, sources: Sequence[Source]) -> Job:
        folder = self.folder.path / draft.name
        draft, edited, files = run.with_papers(draft, _edits(folder), shop=self.shop, folder=folder)
        owner = Owner(
            sources=tuple(str(source.path.resolve()) for source in sources),
            ordinal=ordinal,
            edits=edits_digest(folder),
            call=self.key,
        )
        self.folder.write(draft.name, files, owner, self.ledger)
        return Job(draft.name, folder, edited, tuple(files))

    def _note_unknown_tables(self, names: Collection[str], sources: Sequence[Source]) -> None:
        """A table of a job.toml for which there is no job would be a slip of the pen that nobody sees."""
        for parent, values in self.given.items():
            known = {*names, *(source.name for source in survey([parent]))}
            for table in values.by_job:
                if table not in known and not any(table.startswith(f"{name}-") for name in known):
                    self.notes.append(f"{parent / given.FILE_NAME} has a table [{table}], and no job has that name.")

    def _note_leftovers(self, sources: Sequence[Source], jobs: Sequence[Job]) -> None:
        """Folders that an earlier call made of these sources and that this one no longer gives."""
        paths = {str(source.path.resolve()) for source in sources}
        made = {job.name for job in jobs} | {fault.what for fault in self.faults}
        for name, owner in self.ledger.jobs.items():
            if owner.sources[0] in paths and name not in made and (self.folder.path / name).is_dir():
                self.notes.append(f"{self.folder.path / name} is of an earlier run and left as it was.")

    def _remember(self, jobs: Sequence[Job]) -> None:
        """Notes what the call came to, unless trying again might help."""
        survived = [problem.code for job in jobs for problem in job.draft.problems]
        if any(code.endswith("-failed") for code in survived):
            return
        if not all(isinstance(fault.error, InputError) for fault in self.faults):
            return
        faults = tuple((f.what, f.error.code, f.error.message, f.error.hint) for f in self.faults)
        latest = {owner.call for owner in self.ledger.jobs.values()}
        calls = {key: call for key, call in self.ledger.calls.items() if key in latest}
        call = Call(jobs=tuple(job.name for job in jobs), faults=faults, notes=tuple(self.notes))
        self.ledger.calls = {**calls, self.key: call}
        self.folder.keep_ledger(self.ledger)


def _told(error: Exception) -> ReportError:
    """What a source or job failed with, as a user can be told; a fault of the program costs that one alone."""
    if isinstance(error, ReportError):
        return error
    from pipeline.faults import internal

    return internal(error)


def _edits(folder: Path) -> tuple[Edit, ...]:
    return edits_beside(folder / DRAFT)


def _shop_of(settings: Settings, sources: Sequence[Source], out: Path) -> Shop | None:
    """The shop named in the settings, else the one beside the sources, else the one in the output folder.

    Raises InputError when its file is wrong, also where it sets a limit that no rule has.
    """
    from pipeline.checks.overrides import limits_for
    from pipeline.shop import FILE_NAME, load_shop

    folders = dict.fromkeys([*(source.path.parent for source in sources), out])
    files = [settings.shop] if settings.shop is not None else [folder / FILE_NAME for folder in folders]
    file = next((file for file in files if settings.shop is not None or file.is_file()), None)
    if file is None:
        return None
    shop = load_shop(file)
    limits_for(shop.limits, file)
    return shop
