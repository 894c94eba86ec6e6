"""A test day, planned before it is driven: which variants, in which order, what is asked, how many blocks at most; a file of its own.

Everything that decides is in the file before the first run: the question, the difference worth having, the last block. Which runs are done follows from
the folders (for pulls: CSV files) beside it, named by number and variant.
"""

import contextlib
import hashlib
import itertools
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from string import Template

from hotfuel.errors import InputError, UsageError
from hotfuel.files import refuse_pipe, whole
from hotfuel.log import reserve
from hotfuel.log.lock import is_being_written
from hotfuel.study.evidence import looks
from hotfuel.study.evidence.order import mirrored_blocks
from hotfuel.study.fixes import asking
from hotfuel.study.fixes.summaries import MEAN, Cell
from hotfuel.text import checked
from hotfuel.units import checked_system, parse

TEMPERATURE, POWER = "temperature", "power"
# From run to run, of one day with starts alike: assumptions until this car's own spread is known.
SPREAD_DEGC, SPREAD_PERCENT = 1.5, 0.5
NO_ANSWER = "no_answer.txt"  # in a run's folder: its recording does not answer the plan, and the run is to be driven again
_FORMAT = 1
_TEMPLATE = Template(resources.files("hotfuel.study.fixes").joinpath("day_plan.toml").read_text(encoding="utf-8"))
_SLUG = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True)
class DayPlan:
    """What was planned. variants: the first is the baseline. difference, spread: degC, or per cent of power.

    order: the variant of each run, block by block. start_degc: {place: below this before a run begins}. fixes: {variant: what was fitted, in words}.
    """

    path: Path
    variants: tuple[str, ...]
    quantity: str
    place: str
    phase: str
    difference: float
    spread: float
    order: tuple[str, ...]
    start_degc: dict[str, float]
    fixes: dict[str, str]
    units: str = "si"

    @property
    def last_block(self) -> int:
        """The declared maximum."""
        return len(self.order) // len(self.variants)

    @property
    def cell(self) -> Cell:
        """What is compared, of temperatures."""
        return Cell(MEAN, self.place, self.phase)

    def run_path(self, number: int) -> Path:
        """Where run `number` (from 1) goes: a session folder, or the CSV of a pull."""
        slug = _SLUG.sub("-", self.order[number - 1].casefold()).strip("-")
        name = f"{self.path.stem}-{number:02d}-{slug or 'run'}"
        return self.path.parent / (f"{name}.csv" if self.quantity == POWER else name)

    def recording(self, number: int) -> Path:
        """Where run `number` was recorded: `run_path`, or the folder beside it if that recording was cut off or held no answer and the run was repeated."""
        found = first = self.run_path(number)
        for again in itertools.count(2):
            beside = first.with_name(f"{first.name}-{again}")
            if not ((was_cut_off(found) or (found / NO_ANSWER).exists()) and _is_there(beside)):
                break
            found = beside
        return found

    def driven(self) -> int:
        """How many runs are recorded, from the first on without a gap; the last one counts only if its recording was finished."""
        number = 0
        while number < len(self.order) and _is_there(self.recording(number + 1)):
            number += 1
        return number - 1 if number and was_cut_off(self.recording(number)) else number

    def interrupted(self) -> int:
        """The run whose recorder died, if no run was recorded after it: it is continued or driven again next; 0 where there is none."""
        number = self.driven() + 1
        return number if number <= len(self.order) and _is_there(self.recording(number)) else 0

    def to_drive_again(self) -> int:
        """The first run whose recording held no answer and that was not driven again since; 0 where there is none."""
        return next((n for n in range(1, self.driven() + 1) if (self.recording(n) / NO_ANSWER).exists()), 0)

    def note_again(self, looked_at: Sequence[int], again: Sequence[int], said: str) -> None:
        """Note in the folders of the runs looked at which are to be driven again. said: the note's text. A folder that cannot be written gets no note: move
        it away by hand."""
        for number in looked_at if self.quantity != POWER else ():
            note = self.recording(number) / NO_ANSWER
            with contextlib.suppress(OSError):
                if number in again:
                    note.write_text(f"{said}\n", encoding="utf-8")
                else:
                    note.unlink(missing_ok=True)


def was_cut_off(path: Path) -> bool:
    """Whether the recorder of that session died: the recording was not finished and is not being written."""
    note = reserve.read(path / "wire.log")
    if note is None or note.ended:
        return False
    try:
        with open(path / "wire.log", "rb") as file:
            return not is_being_written(file.fileno())
    except OSError:
        return False


def _is_there(path: Path) -> bool:
    log = path if path.suffix == ".csv" else path / "wire.log"
    try:
        return log.stat().st_size > 0
    except OSError:
        return False


def made(
    path: Path,
    variants: Sequence[str],
    *,
    quantity: str,
    place: str = "",
    phase: str = "",
    difference: float,
    spread: float,
    start_degc: dict[str, float] | None = None,
    fixes: dict[str, str] | None = None,
    units: str = "si",
    seed: int | None = None,
) -> DayPlan:
    """A plan with its order drawn: blocks of one run of each variant, every second block the mirror image of the one before.

    Raises InputError for a name given twice, or a difference that 40 blocks cannot find.
    """
    if len(set(variants)) != len(variants) or len(variants) < 2:
        raise InputError(f"a plan needs two or more different names, not {', '.join(variants) or 'none'}")
    _refuse_nonsense(variants, quantity, phase)
    for text in (*variants, place, *(start_degc or {}), *(fixes or {}).values()):
        checked(text)
    blocks = looks.most_blocks(len(variants), difference, spread)
    order = mirrored_blocks(variants, blocks, seed)
    return DayPlan(
        path, tuple(variants), quantity, place, phase, difference, spread, tuple(order), start_degc or {}, fixes or {}, units
    )


def write(plan: DayPlan) -> Path:
    """Write the plan's file. Raises InputError where one is there already: a plan is not changed once runs follow it."""
    if plan.path.exists():
        raise InputError(f"{plan.path} is there already, and a plan is not changed once runs follow it: give another name")
    unit = "%" if plan.quantity == POWER else "degC"
    text = _TEMPLATE.substitute(
        format=_FORMAT,
        variants=", ".join(map(_quoted, plan.variants)),
        quantity=_quoted(plan.quantity),
        place=_quoted(plan.place),
        phase=_quoted(plan.phase),
        difference=f"{plan.difference!r} {unit}",
        spread=f"{plan.spread!r} {unit}",
        units=_quoted(plan.units),
        seal=_quoted(_seal(plan)),
        order="".join(f"    {_quoted(name)},\n" for name in plan.order),
        start="".join(f'{place} = "{degc!r} degC"\n' for place, degc in plan.start_degc.items()),
        fixes="".join(f"{_quoted(name)} = {_quoted(fix)}\n" for name, fix in plan.fixes.items()),
    )
    with whole(plan.path) as part:
        part.write_text(text, encoding="utf-8")
    return plan.path


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if ord(c) >= 32 and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'


def load(path: Path) -> DayPlan:
    """The plan in a file. Raises InputError, one sentence, for a file that is no plan or was changed after it was written."""
    refuse_pipe(path)
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
        if found.get("format", _FORMAT) != _FORMAT:
            raise InputError(f"{path} has format {found['format']!r}: allowed is {_FORMAT}; write a new plan with `hotfuel plan`")
        plan = DayPlan(
            path=path,
            variants=tuple(checked(str(name)) for name in found["variants"]),
            quantity=str(found["quantity"]),
            place=checked(str(found["place"])),
            phase=checked(str(found["phase"])),
            difference=parse(found["difference"], _dimension(found["quantity"])),
            spread=parse(found["spread"], _dimension(found["quantity"])),
            order=tuple(map(str, found["order"])),
            start_degc={checked(k): parse(v, "temperature") for k, v in found.get("start", {}).items()},
            fixes={str(k): checked(str(v)) for k, v in found.get("fixes", {}).items()},
            units=checked_system(str(found.get("units", "si"))),
        )
    except OSError as error:
        raise InputError(f"{path} cannot be read ({error.strerror}): give the file that `hotfuel plan` wrote") from None
    # not UTF-8, not TOML, nested too deep, or a key missing or of another kind
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise InputError(f"{path} is no plan of a test day ({error}): give the file that `hotfuel plan` wrote") from None
    width = len(plan.variants)
    blocks = [plan.order[i : i + width] for i in range(0, len(plan.order), max(width, 1))]
    if (
        width < 2
        or len(set(plan.variants)) < width
        or len(blocks) < 2
        or any(sorted(block) != sorted(plan.variants) for block in blocks)
    ):
        raise InputError(f"the order in {path} does not hold every variant once a block: write a new plan with `hotfuel plan`")
    if plan.quantity not in (TEMPERATURE, POWER) or not (plan.difference > 0 and plan.spread > 0):
        raise InputError(f"{path} asks of {plan.quantity} with {plan.difference:g} at {plan.spread:g}: write a new plan")
    _refuse_nonsense(plan.variants, plan.quantity, plan.phase)
    if found.get("seal") != _seal(plan):
        fitting = looks.most_blocks(width, plan.difference, plan.spread)
        if fitting != plan.last_block:
            raise InputError(
                f"{path} was changed: {plan.difference:g} at {plan.spread:g} takes {fitting} blocks, and it holds {plan.last_block}; "
                "undo the change, or write a new plan with `hotfuel plan`"
            )
        raise InputError(
            f"{path} was changed after it was written, and what is asked is fixed before the runs: undo the change, or write a new plan with `hotfuel plan`"
        )
    return plan


def _seal(plan: DayPlan) -> str:
    """A digest of what is asked and of the order."""
    asked = (plan.variants, plan.quantity, plan.place, plan.phase, f"{plan.difference:.6g}", f"{plan.spread:.6g}", plan.order)
    return hashlib.sha256(repr(asked).encode()).hexdigest()[:16]


def _refuse_nonsense(variants: Sequence[str], quantity: str, phase: str) -> None:
    for name in variants:
        if not any(c.isalnum() for c in name):
            raise InputError(f'"{name}" is no name of a variant: write a word, for example "ice can"')
    try:
        if quantity == TEMPERATURE:
            asking.phase(phase)
    except UsageError as error:
        raise InputError(f"{error}; a plan asks of one of these") from None


def _dimension(quantity: str) -> str:
    return "percent" if quantity == POWER else "temperature difference"


def with_starts(plan: DayPlan, first_degc: dict[str, float], room_degc: float = 3.0) -> DayPlan:
    """The plan with starts from its first run, where none were stated: a run starts at most `room_degc` warmer than the first did."""
    if plan.start_degc or not first_degc:
        return plan
    return replace(plan, start_degc={place: degc + room_degc for place, degc in first_degc.items()})
