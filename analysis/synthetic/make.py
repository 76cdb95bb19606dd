"""A log from its wards and what is planted: the main path."""

from collections.abc import Sequence
from datetime import date, datetime

import numpy as np

from analysis.synthetic.charting import chart
from analysis.synthetic.course import ZONE, Driver, Plan, Service
from analysis.synthetic.habits import Planting, WardHabits
from analysis.synthetic.log import SyntheticLog
from analysis.synthetic.sites import fit_lines
from analysis.synthetic.slips import plant_slip
from analysis.synthetic.tables import tables_of
from analysis.synthetic.treatments import draw_stays, draw_syringes, take_driver


def make_log(
    *,
    rng: np.random.Generator,
    wards: Sequence[WardHabits],
    first_day: date,
    days: int,
    planting: Planting,
) -> SyntheticLog:
    """Make a check log with its truth.

    Parameters
    ----------
    rng : Generator
        Source of all chance; the same state gives the same log.
    wards : sequence of WardHabits
        The wards, names and prefixes all different.
    first_day : date
        First day of the log (Europe/London). Syringes started earlier are not in it.
    days : int
        Length of the log [d]; what runs at its end has no end in the log.
    planting : Planting
        What is planted, and how often.

    Returns
    -------
    SyntheticLog
        Tables of text cells, sorted by ward, patient and time.
    """
    midnight = datetime(first_day.year, first_day.month, first_day.day, tzinfo=ZONE)
    last = date.fromordinal(first_day.toordinal() + days)
    end = datetime(last.year, last.month, last.day, tzinfo=ZONE)
    plan = Plan(
        rng=rng,
        wards=wards,
        planting=planting,
        first=int(midnight.timestamp()) // 60,
        end=int(end.timestamp()) // 60,
    )
    return tables_of(plan, _simulate(plan))


def _simulate(plan: Plan) -> Service:
    service = Service()
    pools: list[list[Driver]] = [[] for _ in plan.wards]
    for stay in draw_stays(plan):
        driver = take_driver(plan, pools, stay)
        chain = draw_syringes(plan, stay, driver, service.truths)
        rows_of_stay = []
        for syringe in chain:
            rows = chart(plan, syringe)
            if syringe.start >= plan.first and (slip := plant_slip(plan, rows)):
                service.truths.append(slip)
            rows_of_stay += rows
        service.lines += fit_lines(plan, rows_of_stay, service.truths)
        service.rows += rows_of_stay
        service.syringes += chain
    return service
