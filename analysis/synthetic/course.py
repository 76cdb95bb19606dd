"""What is simulated before it is written: treatments, syringes, rows and lines."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from analysis.synthetic.habits import Planting, WardHabits
from analysis.terms import EndReason, Entry, FindingKind, LineKind

T = TypeVar("T")
ZONE = ZoneInfo("Europe/London")
HOUR = 60
DAY = 24 * HOUR
#: Life of an extension set that the invented service works to [h].
SET_LIFE_H = 72.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What all steps need; times are whole minutes since 1970, UTC."""

    rng: np.random.Generator
    wards: Sequence[WardHabits]
    planting: Planting
    first: int
    end: int

    def chance(self, share: float) -> bool:
        """Draw whether something happens.

        Parameters
        ----------
        share : float
            Chance of it, 0 to 1.

        Returns
        -------
        bool
            Whether it happens.
        """
        return bool(self.rng.random() < share)

    def between(self, low: float, high: float) -> float:
        """Draw a number between two limits, each with equal chance.

        Parameters
        ----------
        low, high : float
            The limits.

        Returns
        -------
        float
            A number in between.
        """
        return float(low + (high - low) * self.rng.random())

    def pick(self, items: Sequence[T]) -> T:
        """Draw one of several, each with equal chance.

        Parameters
        ----------
        items : sequence
            At least one.

        Returns
        -------
        object
            One of them.
        """
        return items[int(self.rng.random() * len(items))]


@dataclass(slots=True, kw_only=True)
class Driver:
    """One driver: its number, its own flow factor, and when it is free again."""

    number: str
    factor: float
    free_at: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """One treatment by one driver."""

    patient: str
    place: int
    start: int
    syringes: int
    fate: EndReason | None
    moves_at: int
    moves_to: int

    def place_at(self, minute: int) -> int:
        """Give the ward that the patient is on.

        Parameters
        ----------
        minute : int
            Time [min since 1970, UTC].

        Returns
        -------
        int
            Place of the ward in the plan.
        """
        return self.place if minute < self.moves_at else self.moves_to


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A delivery event of one syringe; hours count from its start.

    ``factor`` multiplies the flow while it lasts.
    """

    kind: FindingKind
    onset_h: float
    end_h: float
    factor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Syringe:
    """One syringe run as it truly was; hours count from its start."""

    stay: Stay
    driver: Driver
    start: int
    hours: float
    planned_h: float
    fate: EndReason | None
    start_ml: float
    offset_ml: float
    flow: float
    lag_h: float
    pause: tuple[float, float] | None
    new_rate: tuple[float, float] | None
    event: Event | None

    @property
    def rate(self) -> float:
        """Rate that is set first: volume over planned duration.

        Returns
        -------
        float
            [mL/h].
        """
        return self.start_ml / self.planned_h

    @property
    def end(self) -> int:
        """When the syringe truly ended.

        Returns
        -------
        int
            [min since 1970, UTC].
        """
        return self.start + round(self.hours * HOUR)

    @property
    def size_ml(self) -> float:
        """Nominal size of the syringe that such a volume is drawn up in.

        Returns
        -------
        float
            [mL].
        """
        return 10.0 if self.start_ml < 10 else 20.0 if self.start_ml <= 18 else 30.0

    def rate_at(self, hour: float) -> float:
        """Give the rate that is set, and 0 while paused or not yet moving [mL/h].

        Parameters
        ----------
        hour : float
            Hours from the start of the syringe.

        Returns
        -------
        float
            [mL/h].
        """
        if hour < self.lag_h or (self.pause and self.pause[0] <= hour < self.pause[1]):
            return 0.0
        if self.new_rate and hour >= self.new_rate[0]:
            return self.new_rate[1]
        return self.rate


@dataclass(slots=True, kw_only=True, eq=False)
class Row:
    """One row of the check log: true minute, written minute and its cells."""

    syringe: Syringe
    minute: int
    written: int
    entry: Entry
    place: int
    cells: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True, kw_only=True)
class Line:
    """One extension set or cannula, with what will become of it."""

    kind: LineKind
    stay: Stay
    place: int
    fitted: int
    line_id: str = ""
    material: str = ""
    location: str = ""
    reacts_at: int = 0
    falls_at: int = 0
    signs: str = ""
    is_seen: bool = False
    removed: int | None = None
    reason: str = ""


@dataclass(slots=True, kw_only=True)
class Truth:
    """One row of truth_other before ids and lines of the file are known."""

    kind: str
    row: Row | None = None
    syringe: Syringe | None = None
    line: Line | None = None
    began: int | None = None
    ended: int | None = None
    hours: float | None = None
    written: str = ""
    truth: str = ""


@dataclass(slots=True, kw_only=True)
class Service:
    """All that was simulated, before it is written."""

    rows: list[Row] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    truths: list[Truth] = field(default_factory=list)
    syringes: list[Syringe] = field(default_factory=list)
