"""Some thirty infusions, each with a rule of the edges, counted by hand.

Limits are those of `test_by_hand`; hours are those since each infusion's start.
"""

from dataclasses import dataclass, field

from analysis.terms import EndKind, Exclusion

SECOND = 1 / 3600


@dataclass(frozen=True, kw_only=True)
class Case:
    """An infusion, and what is counted of it."""

    name: str
    #: Hours of rows, with what each is; a ward's name moves it there from then on.
    rows: dict[float, str]
    #: End of the observation [h] and how it is known.
    ends: float
    kind: EndKind = EndKind.END_ROW
    hours: float = 0.0
    covered: float = 0.0
    on_time: int = 0
    late: int = 0
    missed: int = 0
    excluded: list[Exclusion] = field(default_factory=list)
    ward: str = "Alder Ward"
    begins: float = 0.0
    #: Another case whose driver, and whose patient, this one has.
    driver_of: str = ""
    patient_of: str = ""
    no_driver: bool = False
    ended_at: float | None = None
    end_reason: str = ""


def every(hours: float, until: float, end: str = "check") -> dict[float, str]:
    """Give rows at equal steps, the last of them as said."""
    count = round(until / hours)
    found = dict.fromkeys((hours * n for n in range(count)), "check")
    return {**found, until: end}


CASES = [
    Case(
        name="gaps of the worked example",
        rows={
            **dict.fromkeys((0, 0.5, 4.17, 8.92, 12.34, 20.51), "check"),
            24.01: "end",
        },
        ends=24.01,
        hours=24.01,
        covered=0.5 + 3.67 + 4.5 + 3.42 + 4.5 + 3.5,
        on_time=4,
        late=1,
        missed=1,
    ),
    Case(
        name="ended in the table, a short last gap counts nothing",
        rows=every(4, 20),
        ended_at=24,
        kind=EndKind.ENDED_AT,
        ends=24,
        hours=24,
        covered=24,
        on_time=5,
    ),
    Case(
        name="ended in the table, a long last gap holds two",
        rows=every(4, 20),
        ended_at=30,
        kind=EndKind.ENDED_AT,
        ends=30,
        hours=30,
        covered=24.5,
        on_time=5,
        missed=2,
    ),
    Case(
        name="last gap of interval and grace",
        rows=every(4, 4),
        ended_at=8.5,
        kind=EndKind.ENDED_AT,
        ends=8.5,
        hours=8.5,
        covered=8.5,
        on_time=1,
    ),
    Case(
        name="last gap a second longer",
        rows=every(4, 4),
        ended_at=8.5 + SECOND,
        kind=EndKind.ENDED_AT,
        ends=8.5 + SECOND,
        hours=8.5 + SECOND,
        covered=8.5,
        on_time=1,
        missed=1,
    ),
    Case(
        name="died before the next check",
        rows=every(4, 12),
        ended_at=13,
        end_reason="died",
        kind=EndKind.ENDED_AT,
        ends=13,
        hours=13,
        covered=13,
        on_time=3,
    ),
    Case(
        name="end not recorded",
        rows=every(4, 8),
        kind=EndKind.NOT_RECORDED,
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="a start alone, end not recorded",
        rows={0: "check"},
        kind=EndKind.NOT_RECORDED,
        ends=0,
    ),
    Case(
        name="a start alone, ended in the table",
        rows={0: "check"},
        ended_at=10,
        kind=EndKind.ENDED_AT,
        ends=10,
        hours=10,
        covered=4.5,
        missed=2,
    ),
    Case(
        name="ended in the table before its start",
        rows=every(4, 4),
        ended_at=-3,
        kind=EndKind.NOT_RECORDED,
        ends=4,
        hours=4,
        covered=4,
        on_time=1,
    ),
    Case(
        name="ended in the table before its last row",
        rows=every(4, 12),
        ended_at=9,
        kind=EndKind.ENDED_AT,
        ends=9,
        hours=9,
        covered=9,
        on_time=2,
    ),
    Case(
        name="until the driver's next start",
        rows=every(4, 20),
        kind=EndKind.NEXT_START,
        ends=22,
        hours=22,
        covered=22,
        on_time=5,
    ),
    Case(
        name="the next on that driver",
        driver_of="until the driver's next start",
        begins=22,
        rows=every(4, 8, "end"),
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="the next start comes after its planned end",
        rows=every(4, 20),
        kind=EndKind.NEXT_START,
        ends=24,
        hours=24,
        covered=24,
        on_time=5,
    ),
    Case(
        name="the late next one",
        driver_of="the next start comes after its planned end",
        begins=60,
        rows=every(4, 4, "end"),
        ends=4,
        hours=4,
        covered=4,
        on_time=1,
    ),
    Case(
        name="rows show it running after its planned end",
        rows=every(4, 28),
        kind=EndKind.NEXT_START,
        ends=28,
        hours=28,
        covered=28,
        on_time=7,
    ),
    Case(
        name="the next after a long one",
        driver_of="rows show it running after its planned end",
        begins=60,
        rows=every(4, 4, "end"),
        ends=4,
        hours=4,
        covered=4,
        on_time=1,
    ),
    Case(
        name="no driver charted: until the patient's next start",
        no_driver=True,
        rows=every(4, 16),
        kind=EndKind.NEXT_START,
        ends=20,
        hours=20,
        covered=20,
        on_time=4,
    ),
    Case(
        name="the patient's next",
        no_driver=True,
        patient_of="no driver charted: until the patient's next start",
        begins=20,
        rows=every(4, 4, "end"),
        ends=4,
        hours=4,
        covered=4,
        on_time=1,
    ),
    Case(
        name="a change of syringe ends it",
        rows=every(4, 4),
        kind=EndKind.SYRINGE_CHANGE,
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="begun by a change of syringe",
        driver_of="a change of syringe ends it",
        patient_of="a change of syringe ends it",
        begins=8,
        rows={0: "syringe_change", 4: "check", 8: "end"},
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="a gap of three hours and a half before the next syringe",
        rows=every(4, 20, "end"),
        ends=20,
        hours=20,
        covered=20,
        on_time=5,
    ),
    Case(
        name="begun late",
        driver_of="a gap of three hours and a half before the next syringe",
        patient_of="a gap of three hours and a half before the next syringe",
        begins=23.5,
        rows=every(4, 4, "end"),
        ends=4,
        hours=4,
        covered=4,
        on_time=1,
    ),
    Case(
        name="paused for a while",
        rows={0: "check", 4: "check", 8: "pause", 12: "resume", 16: "end"},
        ends=16,
        hours=12,
        covered=12,
        on_time=3,
        excluded=[Exclusion.PAUSED],
    ),
    Case(
        name="paused and never resumed",
        rows={0: "check", 4: "pause"},
        ended_at=20,
        kind=EndKind.ENDED_AT,
        ends=20,
        hours=4,
        covered=4,
        on_time=1,
        excluded=[Exclusion.PAUSED],
    ),
    Case(
        name="a change of rate is a look, and two rows of one minute are one",
        rows={0: "check", 4: "check", 4 + SECOND / 2: "rate_change", 8: "end"},
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="interval and grace to the second",
        rows={0: "check", 4.5: "check", 9: "check", 13.5 + SECOND: "end"},
        ends=13.5 + SECOND,
        hours=13.5 + SECOND,
        covered=13.5,
        on_time=2,
        late=1,
    ),
    Case(
        name="overdue by 2.67 h and by a second less",
        rows={0: "check", 6.67: "check", 13.34 - SECOND: "end"},
        ends=13.34 - SECOND,
        hours=13.34 - SECOND,
        covered=9,
        late=1,
        missed=1,
    ),
    Case(
        name="moved to another ward",
        rows={0: "check", 4: "check", 12: "Birch Ward", 18: "end"},
        ends=18,
        hours=10,
        covered=10,
        on_time=2,
        excluded=[Exclusion.HAND_OVER],
    ),
    Case(
        name="a ward of another interval",
        ward="Birch Ward",
        rows={0: "check", 6: "check", 12.5: "check", 19.5: "check", 32.5: "end"},
        ends=32.5,
        hours=32.5,
        covered=6 + 3 * 6.5,
        on_time=2,
        late=2,
        missed=1,
    ),
    Case(
        name="a ward without a rule",
        ward="Cedar House",
        rows={0: "check", 10: "check", 20: "end"},
        ends=20,
        excluded=[Exclusion.NO_RULE_SET, Exclusion.NO_RULE_SET],
    ),
    Case(
        name="running at the end of the log",
        begins=990,
        rows=every(4, 4),
        kind=EndKind.RUNNING,
        ends=10,
        hours=10,
        covered=8.5,
        on_time=1,
        missed=1,
    ),
    Case(
        name="the ward's last row",
        begins=992,
        rows=every(4, 8, "end"),
        ends=8,
        hours=8,
        covered=8,
        on_time=2,
    ),
    Case(
        name="due on the last evening of a month",
        # 30 June, 19:30.
        begins=24 * 27 + 11.5,
        rows={0: "check", 4.4: "check", 8.3: "end"},
        ends=8.3,
        hours=8.3,
        covered=8.3,
        on_time=2,
    ),
]
