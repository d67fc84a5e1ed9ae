"""JSON of the commands that say little: errors, refusals, files written, problems of board files, documents."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Literal

from pydantic import Field

from dimmplan.errors import MOST_PROBLEMS, Cause, Problem
from dimmplan.output.values import CauseEntry, Document, OfPlan, Record
from dimmplan.wording.request import CheckNote


class ErrorEntry(Record):
    """What is wrong with a call or an input."""

    file: str = Field(description="file or option")
    place: str = Field(description="dotted path or line in it")
    found: str = Field(description="what was found")
    allowed: str = Field(description="what is allowed")
    hint: str = Field(description="the nearest right spelling, or what to do")


class ErrorsDocument(Document):
    """Exit status 2."""

    commands = "any command: errors"
    about = "Exit status 2: the call or an input is wrong."

    errors: list[ErrorEntry] = Field(description="everything that is wrong")


def errors_record(problems: Iterable[Problem]) -> ErrorsDocument:
    """Problems as JSON."""
    keys = list(ErrorEntry.model_fields)
    return ErrorsDocument(errors=[ErrorEntry(**{key: getattr(problem, key) for key in keys}) for problem in problems])


class RefusedDocument(Document):
    """The answer is no."""

    commands = "any command: refused"
    about = "Exit status 1: the input can be read, and the answer is no."

    status: Literal["refused"] = Field(description="`refused`")
    causes: list[CauseEntry] = Field(description="why")


def refused_record(causes: Iterable[Cause]) -> RefusedDocument:
    """A refusal as JSON."""
    return RefusedDocument(status="refused", causes=CauseEntry.all_of(causes))


class BetterEntry(Record):
    """A better placement than the plan."""

    criterion: str = Field(description="the first criterion in which it is better")
    plan: str | None = Field(description="its value in the plan")
    better: str | None = Field(description="and in the better placement")
    slots: list[str] = Field(description="slots that the better placement fills")


class ProofEntry(Record):
    """What a new search says of a plan."""

    proven: bool = Field(description="no better placement of these modules")
    better: BetterEntry | None = Field(description="a better placement, null where there is none")


class FilesDocument(OfPlan):
    """Files written."""

    commands = "draw"
    about = "The files written; `proof` stands there with `--prove`."

    files: list[str] = Field(description="in the order of the pages")
    proof: ProofEntry | None = Field(default=None, description="what a new search says of the plan")


def files_record(files: Iterable[Path], proof: ProofEntry | None = None) -> FilesDocument:
    """Files as JSON."""
    more = {} if proof is None else {"proof": proof}
    return FilesDocument(files=[str(path) for path in files], **more)


class FileProblem(ErrorEntry):
    """A problem of a board file."""

    line: int | None = Field(description="its line in the file, counted from one; null where there is none")


class NoteEntry(Record):
    """What is to be known of a row that is not wrong."""

    rule: str = Field(description="id of a population table or a row of rates")
    modules: int | None = Field(description="the number of modules meant; null for the whole row")
    text: str = Field(
        description="what a table leaves out, what the model would fill instead, or why a rate is never used"
    )


class CheckedFile(Record):
    """A board file that was checked."""

    file: str = Field(description="the file")
    id: str | None = Field(description="id of the board, null where it cannot be read")
    problems: list[FileProblem] = Field(description="what is wrong, the first hundred")
    problem_count: int = Field(description="how many there are")
    notes: list[NoteEntry] = Field(description="what its population tables leave out, and rates that are never used")


class CheckDocument(Document):
    """Board files that were checked."""

    commands = "boards check"
    about = (
        "Problems of board files; exit status 1 where there is one. `boards schema` prints the JSON Schema of a file."
    )

    files: list[CheckedFile] = Field(description="every file")


def checked_file(file: str, board: str | None, problems: Sequence[Problem], notes: Sequence[CheckNote]) -> CheckedFile:
    """A checked file as JSON."""
    told = [FileProblem(**problem._asdict()) for problem in problems[:MOST_PROBLEMS]]
    noted = [NoteEntry(rule=note.rule, modules=note.modules, text=note.text) for note in notes]
    return CheckedFile(file=file, id=board, problems=told, problem_count=len(problems), notes=noted)


class TableRow(Record):
    """A rule row that holds a population table."""

    id: str = Field(description="id of the row")
    check: str = Field(description="`table`")
    socket: str | None = Field(description="the socket whose modules it counts, or null")
    mode: str | None = Field(description="the only mode that it is for, or null")
    source: str = Field(description="its source id")


class TableCount(Record):
    """The slots for a number of modules."""

    modules: int = Field(description="how many")
    slots: list[str] = Field(description="the slots for that many")


class TableDocument(Document):
    """A population table."""

    commands = "boards table"
    about = "A population table, as copied from a manual, as a rule row."

    row: TableRow = Field(description="the row")
    rows: list[TableCount] = Field(description="its lines")


class TopicEntry(Record):
    """A document of the tool."""

    topic: str = Field(description="its name")
    title: str = Field(description="what it says")


class TopicsDocument(Document):
    """The documents of the tool."""

    commands = "docs"
    about = "The documents."

    topics: list[TopicEntry] = Field(description="every document")


class TopicDocument(Document):
    """One document of the tool."""

    commands = "docs TOPIC"
    about = "One document."

    topic: str = Field(description="its name")
    title: str = Field(description="what it says")
    text: str = Field(description="the document in Markdown")
