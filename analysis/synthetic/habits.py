"""How wards of a simulated service work and write, and what is planted in a log."""

from dataclasses import dataclass

from analysis.terms import FindingKind

#: A delivery event needs an infusion that ran at least this long [h].
SHORTEST_WITH_EVENT_H = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WardHabits:
    """How one ward works and writes; as it comes, a ward without any error.

    Attributes
    ----------
    name, prefix : str
        Ward name, and the letters its infusion ids and staff codes start with.
    infusions_per_month : float
        Average number of syringes started in 30.4 days.
    mean_syringes : float
        Average number of syringes of a treatment; at least 1.
    start_volumes_ml : tuple of float
        Volumes charted at the start, drawn with equal chance [mL].
    reading_step_ml : float
        Step that volumes are read to [mL]; 0 writes three decimals.
    time_step_min : int
        Step that times of checks are written to [min]; it divides 60.
    rate_step_ml_h : float
        Step of the rate display [mL/h]; the driver itself runs at volume / duration.
    reading_error_ml, time_error_min : float
        Standard deviations of an honest reading and of an honest time.
    flow_sd, driver_sd : float
        Standard deviations of the flow factor, of an infusion and of a driver.
    offset_ml, offset_sd_ml : float
        Mean and standard deviation of true minus charted start volume [mL].
    lag_h : float
        Mean start-up lag [h]; no lag is longer than 1 h.
    planned_h, check_every_h : float
        What an infusion is planned to last, and the time between plain checks [h].
    is_visiting : bool
        A community team: seen at the start, perhaps in the evening, and at the change.
    early_check_share : float
        Share of infusions with a first check within the hour.
    spread_min : float
        Standard deviation of the time between checks [min].
    late_share, lapse_share, night_lapse_share : float
        Chances that a check is late, or left out by day and by night (0 to 6 h).
    missing_volume_share, blank_share : float
        Chances that a volume, or one of the other observations, is left blank.
    late_set_share : float
        Chance that a due change of the extension set is put off to the next syringe.
    site_life_days : float
        Scale of the time to a site reaction [d]; 0: there is none.
    metal_share : float
        Share of metal cannulas, which react twice as soon.
    staff : int
        Number of staff codes.
    has_line_ids, has_dates_alone : bool
        Writes ids of sets and cannulas (else yes/no), and only the day of their change.
    has_delivered, has_recorded_at : bool
        Writes the volume delivered, and when the row was written.
    """

    name: str
    prefix: str
    infusions_per_month: float
    mean_syringes: float = 4.5
    start_volumes_ml: tuple[float, ...] = (16.0,)
    reading_step_ml: float = 0.0
    time_step_min: int = 1
    rate_step_ml_h: float = 0.01
    reading_error_ml: float = 0.0
    time_error_min: float = 0.0
    flow_sd: float = 0.0
    driver_sd: float = 0.0
    offset_ml: float = 0.0
    offset_sd_ml: float = 0.0
    lag_h: float = 0.0
    planned_h: float = 24.0
    check_every_h: float = 4.0
    is_visiting: bool = False
    early_check_share: float = 0.0
    spread_min: float = 0.0
    late_share: float = 0.0
    lapse_share: float = 0.0
    night_lapse_share: float = 0.0
    missing_volume_share: float = 0.0
    blank_share: float = 0.0
    late_set_share: float = 0.0
    site_life_days: float = 0.0
    metal_share: float = 0.0
    staff: int = 6
    has_line_ids: bool = True
    has_dates_alone: bool = False
    has_delivered: bool = False
    has_recorded_at: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Planting:
    """What is planted; as it comes, nothing.

    Attributes
    ----------
    event_share : float
        Chance of a delivery event in an infusion that ended within the log, with its
        end charted, and ran for `SHORTEST_WITH_EVENT_H` or longer.
    event_weights : tuple of (FindingKind, float)
        Kinds of delivery event and their relative frequency.
    slip_share : float
        Chance of a charting slip in an infusion with a plain check that has a volume.
    gap_share : float
        Chance of 1 to 5 h without a syringe between two syringes of a treatment.
    early_change_share, pause_share, rate_change_share : float
        Chances in an infusion, all charted.
    death_share, stop_share, lost_end_share : float
        How treatments end; the rest run their last syringe to its end. ``lost_end``:
        the chart simply stops.
    transfer_share, second_driver_share : float
        Chances in a treatment.
    unreadable_times, unreadable_volumes, exact_duplicates, awkward_notes : int
        Faulty rows and cells, and notes that look like markup or a formula.
    """

    event_share: float = 0.0
    event_weights: tuple[tuple[FindingKind, float], ...] = (
        (FindingKind.STALL, 0.36),
        (FindingKind.STALL_TO_END, 0.18),
        (FindingKind.SLOW, 0.16),
        (FindingKind.OVER_DELIVERY, 0.12),
        (FindingKind.SURGE, 0.11),
        (FindingKind.VOLUME_RISE, 0.07),
    )
    slip_share: float = 0.0
    gap_share: float = 0.0
    early_change_share: float = 0.0
    pause_share: float = 0.0
    rate_change_share: float = 0.0
    death_share: float = 0.0
    stop_share: float = 0.0
    lost_end_share: float = 0.0
    transfer_share: float = 0.0
    second_driver_share: float = 0.0
    unreadable_times: int = 0
    unreadable_volumes: int = 0
    exact_duplicates: int = 0
    awkward_notes: int = 0
