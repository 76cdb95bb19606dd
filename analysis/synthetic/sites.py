"""Extension sets and cannulas: fitted, looked at and changed."""

from dataclasses import dataclass

from analysis.synthetic.course import (
    DAY,
    HOUR,
    SET_LIFE_H,
    Line,
    Plan,
    Row,
    Stay,
    Truth,
)
from analysis.terms import EndReason, Entry, LineKind, RemovalReason, SiteSign, YesNo

_SIGNS = (
    (SiteSign.REDNESS,),
    (SiteSign.REDNESS, SiteSign.SWELLING),
    (SiteSign.SWELLING, SiteSign.HARDNESS),
    (SiteSign.PAIN,),
    (SiteSign.REDNESS, SiteSign.PAIN),
    (SiteSign.LEAKAGE,),
    (SiteSign.BLEEDING,),
)
_LOCATIONS = ("chest", "chest", "abdomen", "abdomen", "upper arm", "thigh", "back")


@dataclass(slots=True, kw_only=True)
class _Fitted:
    """The set and the cannula in use, and all there were."""

    extension: Line
    cannula: Line
    lines: list[Line]

    def change(self, old: Line, new: Line, reason: str) -> None:
        old.removed, old.reason = new.fitted, reason
        self.lines.append(new)
        if new.kind is LineKind.CANNULA:
            self.cannula = new
        else:
            self.extension = new


def fit_lines(plan: Plan, rows: list[Row], truths: list[Truth]) -> list[Line]:
    """Walk through the rows of one treatment; fit, look at and change its lines.

    Parameters
    ----------
    plan : Plan
        What all steps need.
    rows : list of Row
        Rows of one treatment, in order of time; their cells are filled.
    truths : list of Truth
        Site reactions are added here.

    Returns
    -------
    list of Line
        All sets and cannulas, in order of fitting.
    """
    first, last = rows[0], rows[-1]
    stay = first.syringe.stay
    begun = first.minute - 10
    extension = _new_set(stay, first.place, begun)
    cannula = _new_cannula(plan, stay, first.place, begun)
    fitted = _Fitted(extension=extension, cannula=cannula, lines=[extension, cannula])
    for row in rows:
        _change_set(plan, row, fitted)
        _look_at_site(plan, row, fitted, truths)
    syringe = last.syringe
    if syringe.fate is not None:
        is_dead = syringe.fate is EndReason.DIED
        reason = RemovalReason.DIED if is_dead else RemovalReason.END_OF_TREATMENT
        for line in (fitted.extension, fitted.cannula):
            line.removed = max(syringe.end, line.fitted) + 10
            line.reason = str(reason)
    return fitted.lines


def _change_set(plan: Plan, row: Row, fitted: _Fitted) -> None:
    """Change the extension set with a syringe if it would not last to the next."""
    if row.entry is Entry.START and row.minute > row.syringe.stay.start:
        ward = plan.wards[row.place]
        age = (row.minute - fitted.extension.fitted) / HOUR
        is_due = age + ward.planned_h > SET_LIFE_H
        if is_due and not plan.chance(ward.late_set_share):
            new = _new_set(row.syringe.stay, row.place, row.minute)
            fitted.change(fitted.extension, new, str(RemovalReason.ROUTINE))
            if not ward.has_line_ids:
                row.cells["line_changed"] = str(YesNo.YES)
    ward = plan.wards[row.place]
    if ward.has_line_ids:
        row.cells["line_id"] = str(id(fitted.extension))
    else:
        row.cells.setdefault("line_changed", str(YesNo.NO))


def _look_at_site(plan: Plan, row: Row, fitted: _Fitted, truths: list[Truth]) -> None:
    """Write what the site looked like; re-site where it must be."""
    ward, cannula = plan.wards[row.place], fitted.cannula
    row.cells["site_location"] = cannula.location
    is_looked_at = not plan.chance(ward.blank_share)
    is_reacting = row.minute >= cannula.reacts_at
    if is_looked_at:
        minor = SiteSign.BRUISING if plan.chance(0.01) else SiteSign.NONE
        row.cells["site_signs"] = cannula.signs if is_reacting else str(minor)
    if ward.has_line_ids:
        row.cells["site_id"] = str(id(cannula))
    else:
        row.cells["site_changed"] = str(YesNo.NO)
    is_seen = is_looked_at and is_reacting
    if is_seen and not cannula.is_seen:
        cannula.is_seen = True
        truths.append(_reaction(row, cannula))
    reason = _reason_to_resite(row, cannula, is_seen=is_seen)
    if reason is None or row.entry is Entry.END:
        return
    if reason is RemovalReason.REACTION and plan.chance(0.2):
        return  # left until the next check
    new = _new_cannula(plan, row.syringe.stay, row.place, row.minute + 5)
    fitted.change(cannula, new, str(reason))
    if not ward.has_line_ids:
        row.cells["site_changed"] = str(YesNo.YES)


def _reaction(row: Row, cannula: Line) -> Truth:
    return Truth(
        kind="site_reaction",
        row=row,
        line=cannula,
        began=cannula.reacts_at,
        ended=row.minute,
        hours=(row.minute - cannula.reacts_at) / HOUR,
        truth=cannula.signs,
    )


def _reason_to_resite(
    row: Row, cannula: Line, *, is_seen: bool
) -> RemovalReason | None:
    if is_seen:
        return RemovalReason.REACTION
    if row.minute >= cannula.falls_at:
        return RemovalReason.DISLODGED
    is_old = row.minute - cannula.fitted > 7 * DAY
    return RemovalReason.ROUTINE if is_old and row.entry is Entry.START else None


def _new_set(stay: Stay, place: int, minute: int) -> Line:
    return Line(kind=LineKind.EXTENSION_SET, stay=stay, place=place, fitted=minute)


def _new_cannula(plan: Plan, stay: Stay, place: int, minute: int) -> Line:
    """Fit a cannula, and draw when it will react or come out by itself."""
    ward, never = plan.wards[place], plan.end + 400 * DAY
    is_metal = plan.chance(ward.metal_share)
    life = ward.site_life_days / (2 if is_metal else 1)
    reacts = float(plan.rng.weibull(1.5)) * life
    falls = float(plan.rng.standard_exponential()) * 4 * life
    signs = [str(sign) for sign in plan.pick(_SIGNS)]
    return Line(
        kind=LineKind.CANNULA,
        stay=stay,
        place=place,
        fitted=minute,
        material="metal" if is_metal else "plastic",
        location=plan.pick(_LOCATIONS),
        reacts_at=minute + int(reacts * DAY) if life else never,
        falls_at=minute + int(falls * DAY) if life else never,
        signs=";".join(signs),
    )
