"""Headers of exports to columns: general trade words, never positions.

A header is compared after `normal`; what it may mean is a list of candidates, which the
values of the column confirm or rule out (`recognise`). Words are trade usage, from
memory (common practice, no source).
"""

import re
import unicodedata
from dataclasses import dataclass
from enum import IntEnum

from analysis.columns import CANONICAL
from analysis.intake import modifiers, other_languages

#: Places a column can have that are no column of a canonical table.
ROW_ID, REPLACES, STRUCK = "row_id", "replaces", "struck_out"
VERSION = "version"
ITEM, VALUE, UNITS = "item", "value", "units"
DRUG, DOSE, DOSE_UNIT = "drug", "dose", "dose_unit"
LINE_CHANGED_ON, SITE_CHANGED_ON, WHY_CHANGED = (
    "line_changed_on", "site_changed_on", "why_changed",
)  # fmt: skip
#: Dates on which a line or a site was changed.
CHANGE_DATES = (LINE_CHANGED_ON, SITE_CHANGED_ON)
#: Columns that say yes or no to such a change.
CHANGED = ("line_changed", "site_changed")


class Strength(IntEnum):
    """How a header came to a candidate.

    A part of a header among words that may make it another thing is no recognition: it
    is asked about, or the column is not used.
    """

    PART = 0
    CONTAINS = 1
    SYNONYM = 2
    CANONICAL = 3


@dataclass(frozen=True, slots=True)
class Candidate:
    """A column that a header may name."""

    column: str
    strength: Strength


_SYNONYMS = {
    "ward": "ward|ward name|unit|location|loc|area|dept|department|clinical area|"
    "nursing unit|ward unit|team|community team|locality|site name|facility|service|"
    "setting|place of care|current location|base|hub|division|house|home|hospice|"
    "care home|wrd|in patient unit|floor|ward team|ward area|ward code",
    "patient_id": "nhs no|nhs number|nhs id|n h s no|n h s number|patient id|"
    "patient no|patient number|patient identifier|pt id|pt no|"
    "pid|mrn|medical record no|medical record number|hospital no|hospital number|"
    "hosp no|"
    "unit number|urn|ur no|case no|chart no|record no|client id|client no|resident id|"
    "subject|subject id|study id|nhi|health number|person id|identifier|patient|pt|"
    "pat id|pat no|pat mrn|patient mrn|resident|client|patient code|person|"
    "resident no|patient ref|client ref",
    "infusion_id": "infusion id|infusion|infusion no|infusion number|syringe id|"
    "syringe no|syringe number|run|run no|run id|csci id|csci no|chart no|chart number|"
    "order id|order no|prescription no|prescription id|sheet no|syringe run|"
    "infusion ref|syringe ref|chart id|order number|episode|infusion code|chart ref|"
    "syringe|syringe code",
    "driver_id": "driver no|driver number|driver id|device no|device number|device id|"
    "device|pump no|pump number|pump id|pump|serial|serial no|serial number|sn|asset|"
    "asset no|asset number|asset tag|equipment no|equipment id|machine no|unit no|"
    "syringe driver no|syringe pump no|barcode|inventory no|driver|syringe driver|"
    "sd no|machine|equipment|driver ref|syringe driver|driver serial|pump serial no|"
    "pump serial|device serial no",
    "entry": "event|entry type|type|row type|activity|procedure|change|comment code|"
    "event type|check type|stage|category|status change|entry|obs|obs type|visit type|"
    "type of check|type of entry|type of visit|record type|action|reason for entry|"
    "what|event code|reason|entry code|infusion status|infusion event|infusion stage|"
    "evt|evt type|syringe event|driver event|infusion action|what was done|what done",
    "checked_at": "check time|time of check|time checked|time|date time|datetime|"
    "date and time|obs time|observation time|obs datetime|recorded at|time recorded|"
    "charted time|chart time|time taken|taken at|reading time|monitoring time|"
    "round time|visit time|time of visit|event time|timestamp|performed at|review time|"
    "hr check time|date|check date|obs date|date of check|visit date|date of visit|"
    "date checked|observed|observed at|time observed|when|checked at|check datetime|"
    "date of obs|date of observation|time of observation|time of obs|event date|"
    "check date time|date taken|datetime of check|observation date|day|clock|"
    "charted at|"
    "date time of check|time of reading|reading date|observation datetime|seen at|"
    "date recorded|monitoring date|round date|date time taken|visited at|hour|visited|"
    "date performed|time performed|obs date time|date time of obs|date time checked|"
    "performed|seen|attended|date attended|time done|date done|visit|reviewed|"
    "reviewed at|checked|check at|time seen|date seen|obs at|noted at|"
    "date time recorded|checked on|observed on|seen on|taken on|performed on|done on|"
    "reviewed on|charted on|recorded on|visited on|read on|read at|time read",
    "recorded_at": "filed at|entered at|entry time|date entered|created|created at|"
    "saved at|documented at|system time|modified|last updated|audit time|sign time|"
    "verified time|late entry time|time filed|filed|entered|time entered|date filed|"
    "entry date|saved|date saved|time saved|filed time|documented|file time|"
    "entered on|entry datetime|written at|time documented|updated at|date created",
    "started_at": "start time|started|time started|commenced|time commenced|"
    "commencement|date commenced|infusion start|start datetime|set up time|setup time|"
    "time set up|time connected|begun|begin time|on time|new syringe time|loaded at|"
    "started at|start date|date started|start|infusion started|start date time",
    "ended_at": "stop time|end time|finished|time finished|time stopped|discontinued|"
    "completed at|taken down|off time|syringe change time|changed at|finish|"
    "infusion end|ended at|off at|end date|ended|stopped at|date stopped|date ended|"
    "finished at|end datetime|end date time",
    "end_reason": "end reason|reason ended|reason for ending|reason stopped|why ended|"
    "reason for stopping|stop reason|outcome|reason ended by|reason infusion ended",
    "volume_remaining_ml": "volume remaining|vol remaining|vol rem|remaining|"
    "remaining volume|volume left|vol left|left in syringe|ml left|mls left|"
    "ml remaining|mls remaining|syringe volume|volume in syringe|amount left|"
    "amount remaining|balance|residual volume|vr|v remaining|reading|syringe reading|"
    "scale reading|level|vol in barrel|current volume|syringe volume remaining|left|"
    "vol|volume|barrel scale|volume on scale|barrel reading|scale|"
    "volume still in syringe|"
    "vtbi remaining|vtbi left|remaining vtbi|"
    "volume remaining scale|volume remaining barrel|remaining on scale|remaining scale|"
    "volume remaining in syringe|left ml|vol remaining in syringe|syringe left",
    "display_remaining_ml": "display remaining|display volume|volume on display|"
    "volume remaining display|display reading|remaining on display|screen remaining|"
    "display vol|remaining display|volume left display|volume left on display|"
    "vol remaining display|display volume remaining|"
    "volume remaining on display|screen volume|display left|display|on display",
    "volume_delivered_ml": "volume infused|vol infused|infused|total infused|"
    "volume delivered|vol delivered|delivered|amount infused|amount delivered|"
    "volume given|vol given|given|mls infused|ml infused|mls given|vi|vol in|"
    "cumulative volume|total volume infused|running total|volume administered|"
    "infused so far|intake|volume infused so far|ml given|ml delivered|given so far",
    "vtbi": "vtbi|volume to be infused|vol to infuse|to be infused|target volume|"
    "planned volume|volume to deliver|total volume|tv|set volume|volume limit|"
    "total to give|syringe total|intended volume|vol tbi",
    "start_volume_ml": "start volume|starting volume|initial volume|volume at start|v0|"
    "fill volume|filled to|total volume in syringe|loaded volume|syringe volume start|"
    "volume after priming|post prime volume|opening volume|syringe filled to|start vol|"
    "volume after prime|vol at start|starting vol|filled volume|new syringe volume|"
    "volume of new syringe|new syringe ml|volume in new syringe|new syringe filled to|"
    "new volume|volume after change|new syringe vol",
    "made_up_to_ml": "made up to|final volume|volume made up|made up volume|"
    "volume before priming|pre prime volume|made up vol|total made up|made to",
    "prime_volume": "prime|prime volume|priming volume|volume primed|line volume|"
    "prime loss|used to prime|dead space|line prime|primed with|extension volume|"
    "set volume prime|vol to prime|purge|purged",
    "set_rate_ml_h": "rate|infusion rate|rate ml hr|rate ml h|ml hr|ml h|mls hr|"
    "mls hour|ml per hour|flow|flow rate|rate set|set rate|programmed rate|"
    "rate on display|displayed rate|current rate|running rate|delivery rate|pump rate|"
    "driver rate|speed|hourly rate|rate checked|rate 24h|ml 24h|ml 24 hr|mls 24 hours|"
    "ml day|daily rate|24 hour rate|rate per day|volume per 24 h|rate per hour|"
    "rate shown|running at|rate running at|rate now|set at|rate charted|rate ml 24h|"
    "rate per 24h|rate per 24 hours|rate set on driver|driver ml h|driver ml hr|"
    "pump ml h|pump ml hr|syringe ml h|syringe ml hr|driver mls hr|driver rate|"
    "ml 24 h|mls 24 h|mls 24h|mls 24 hr|mls 24 hrs|ml 24 hrs|ml 24 hours|ml per 24 h|"
    "ml per 24 hours|mls per 24 hours|ml per day|mls per day|mls day|24h rate",
    "planned_duration_h": "duration|over|run over|hours|infuse over|period|"
    "planned hours|infusion time|length of infusion|time period|total time|"
    "delivery time|hrs|to run over|expected duration|planned duration|run time|"
    "duration set|hours planned|planned for|planned over|planned time|run over hours|"
    "over hours|infuse over hours",
    "time_remaining": "time remaining|time left|hours left|hrs remaining|"
    "remaining time|"
    "time to go|due to finish|expected end|finish in|end due|estimated completion|tr|"
    "h m left|run time left|minutes left|due to end",
    "checked_by": "initials|nurse initials|nurse|rn|staff initials|staff|signature|"
    "sign|"
    "signed|signed by|sig|checked by|recorded by|performed by|entered by|observer|"
    "done by|user|user id|recorder|by|clinician|carer|filed by|checker|nurse id|"
    "staff id|observed by|visited by|staff code|checker 1|nurse 1|sign 1|initial|"
    "init|inits|taken by|charted by|documented by|visitor|who",
    "second_checked_by": "second checker|checker 2|witness|countersigned|nurse 2|"
    "second nurse|second initials|second checked by|2nd checker|2nd nurse|sign 2|"
    "witnessed by|second signature|countersigned by|2nd signature|2nd initials|"
    "initials 2|second sign|second check by|second staff",
    "site_signs": "site|site check|site checked|site condition|site appearance|"
    "site status|site obs|site inspection|infusion site|skin|skin condition|skin check|"
    "site reaction|reaction|insertion site|cannula site|needle site|site ok|"
    "condition of site|site comment|site assessment|skin at site|site look|site signs|"
    "look of site|site cond|cond of site|site app|site observations|appearance of site|"
    "site observation|skin site",
    "site_score": "site score|site grade|phlebitis score|vip|score",
    "site_location": "site location|location of site|body site|position|placement|"
    "where sited|area used|limb|anatomical site|insertion location|site position|"
    "cannula position|sited at|location on body|place|site place|new place|site|"
    "location|body location|where|cannula location|site area|infusion site|sited|"
    "position of site|place of site|place on body|insertion site",
    "site_changed": "site changed|site change|resited|re sited|site rotated|new site|"
    "cannula changed|needle changed|cannula resited|site resited|site moved",
    SITE_CHANGED_ON: "site date|date of site change|resite date|new site date|"
    "cannula inserted|insertion date|date inserted|needle date|date sited|site start|"
    "cannula date|site since|inserted on|site changed on|cannula changed on|"
    "site changed|"
    "site change date|date site changed|site inserted|needle changed on|site change|"
    "resited on|site resited on|date resited|cannula resited on|cannula resited|"
    "cannula changed|cannula changed on|needle changed|date cannula inserted|"
    "cannula inserted on|site in since|cannula in since|cannula sited|site resited|"
    "cannula sited on|current site since|new site|date of resite",
    "line_changed": "line changed|extension changed|line change|set changed|"
    "giving set changed|tubing changed|tubing change|line renewed|new line|"
    "extension line changed|administration set changed|extension set changed|"
    "giving set change|extension change",
    LINE_CHANGED_ON: "line change date|line date|date line changed|"
    "line in since|line inserted|line start|extension set date|extension date|"
    "giving set date|set change date|tubing date|infusion set date|admin set date|"
    "line changed on|line changed|extension changed on|"
    "extension changed|set changed on|date set changed|line renewed on|"
    "giving set changed"
    "|tubing changed|line change|set changed|tubing changed on|line fitted on|"
    "extension line changed on|extension line changed|date extension changed|"
    "extension set changed|extension set changed on|line fitted|extension fitted|"
    "date of line change|line changed date|current line since|extension in since",
    WHY_CHANGED: "why changed|reason changed|reason for change|change reason|why|"
    "reason",
    "syringe_size_ml": "syringe size|syringe|size|syringe type|syringe ml|nominal size|"
    "syringe capacity|barrel size|size of syringe|syringe confirmed|syringe selected|"
    "detected syringe|syringe volume size|ml syringe|syringe in use",
    "battery_pct": "battery|batt|battery level|battery percent|battery life|batt pct|"
    "power|charge|battery checked|battery status|battery remaining|battery left|"
    "battery charge|batt level|battery pct|power level|bat|battery reading",
    "battery_other": "battery ok|battery changed|volts|battery volts|battery voltage|"
    "new battery|battery good|battery checked ok",
    "running": "running|pump running|driver running|light|light flashing|green light|"
    "infusing|working|in progress|device status|on off|run stop|functioning|led|"
    "screen status|running light|light on|status|state|driver status|pump status|"
    "indicator light|light seen|driver light|is running|light green|driver working|"
    "status light|flashing|infusion status",
    "alarm": "alarm|alarms|alarm type|alert|alarm found|alarm sounded|fault|"
    "alarm shown|alarm message",
    "action": "action|action taken|actions|what was done|response|intervention|"
    "alarm action|actions taken",
    "material": "material|cannula material|cannula type|needle type|cannula|needle|"
    "type of cannula",
    "gauge": "gauge|cannula gauge|cannula size|needle size|needle gauge|size",
    DRUG: "drug|medication|medicine|additive|drug name|medication name|product|"
    "ingredient|prescribed drug",
    DOSE: "dose|amount|drug dose|strength|quantity|prescribed dose|dose 24h|"
    "dose per 24 hours|daily dose|mg 24h|dose in syringe|24 hr dose|mg per day|mg",
    DOSE_UNIT: "unit|dose unit|drug unit|units",
    "contents": "drugs|medicines|contents|syringe contents|drugs in syringe|"
    "medications|"
    "mixture|drugs and doses|contents of syringe|prescription|drug s|medication",
    "diluent": "diluent|dilutant|diluted with|solvent|made up with|carrier|base fluid|"
    "vehicle|made up in|fluid|mixed with|solution",
    "solution_appearance": "contents|appearance|clarity|precipitate|precipitation|"
    "crystals|colour|color|syringe contents check|solution clear|contents checked|"
    "discolouration|mixture appearance|solution|solution appearance|syringe contents|"
    "contents check|look of solution|solution check|fluid|contents clear|clear|cloudy|"
    "contents ok|solution ok|solution cloudy|contents cloudy|precipitate seen|"
    "appearance of solution|syringe appearance|solution look|sol app|solution app|"
    "sol appearance|look of contents",
    "lockbox_locked": "lockbox|lock box|locked|box locked|security|secure|key|"
    "in lockbox|locked box|tamper box|box|safe box|locked y n|lock checked|"
    "cover locked|"
    "case shut|case closed|box shut|box closed|case secure|locked in box|"
    "tamper box locked|safe box locked|lock|lockbox locked|lockbox checked|"
    "lockbox secure|case locked|box secure",
    "keypad": "keypad locked|key lock|keypad|lock on|screen lock|panel lock|"
    "keys locked|"
    "program locked|programme lock|lock engaged|button lock|keypad lock on|lock out|"
    "lockout|locked keypad",
    "label_present": "label|labelled|labeled|label checked|syringe label|label ok|"
    "label correct|label present|additive label|drug label|label complete|"
    "label legible|label in place|label y n|label on",
    "discard": "discarded|waste|wasted|amount discarded|volume discarded|residue|"
    "left over|destroyed|disposed|disposal|remaining discarded|vol wasted|returned|"
    "cd waste|witnessed waste",
    "note": "comments|comment|notes|note|remarks|free text|details|narrative|problems|"
    "variance|other|observations|message|remark|nursing notes|other comments|"
    "nurse comments|additional comments",
    "line_id": "line no|line id|line number|extension no|extension set no|line|"
    "extension id|extension set id|extension|set no|line ref|extension set|tubing id",
    "site_id": "site no|site id|site number|cannula no|cannula id|cannula number|"
    "site ref|needle no|cannula ref",
    "kind": "kind|type|line type|item|what|device|kind of line|device type|set type",
    "inserted_at": "inserted at|date inserted|time inserted|inserted|fitted|"
    "date fitted|"
    "time fitted|inserted on|insertion date|insertion time|date in|in|placed|"
    "date placed|fitted on|fitted at|start|date sited|time sited|time in",
    "removed_at": "removed at|date removed|time removed|removed|removed on|out|"
    "date out|"
    "taken out|removal date|removal time|end|time out|date taken out",
    "removal_reason": "reason removed|removal reason|reason for removal|why removed|"
    "reason|reason out|removed because|reason taken out",
    ROW_ID: "row|row id|row no|row number|record id|entry id|obs id|id|seq|sequence|"
    "record no|entry no|check id|record number|line in export|no|row ref|check no|"
    "observation id",
    REPLACES: "replaces|replaces row|amends|corrects|amended from|supersedes|"
    "replaces id|correction of|amendment of|original row|corrects row|replaced row",
    VERSION: "version|version no|version number|revision|revision no|rev|rev no|ver|"
    "amendment no|edit no|entry version|row version|record version",
    STRUCK: "struck out|struck|deleted|void|voided|strikethrough|status|record status|"
    "in error|entered in error|row status|amendment status|cancelled|result status|"
    "strike out|entry status",
    ITEM: "item|item name|observation|observation name|parameter|measure|measurement|"
    "question|field|flowsheet item|row name|assessment|obs name|variable|attribute|"
    "flowsheet row name|flowsheet measure|flowsheet name|measure name|meas name|"
    "item description|name|observation type|flowsheet row|obs item|element",
    VALUE: "value|answer|result|reading|response|item value|observation value|"
    "measure value|meas value|flowsheet value|entered value|"
    "recorded value|charted value|entry value|obs value|data|finding|measured value",
    UNITS: "units|unit|rate unit|rate units|unit of rate|uom|unit of measure|"
    "value unit|value units|measure unit",
}
#: Columns of the canonical tables: a header that is one names it beyond doubt.
CANONICAL_NAMES = frozenset(name for table in CANONICAL for name in table.names)


def normal(header: str) -> str:
    """Give a header in the form that is compared.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    str
        Small letters, digits and single blanks.

    Examples
    --------
    >>> normal(" Volume  Remaining (Ml)"), normal("Batt %"), normal("checked_at")
    ('volume remaining ml', 'batt percent', 'checked at')
    """
    plain = unicodedata.normalize("NFKD", header.casefold())
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = "".join(" " if unicodedata.category(c) == "Cf" else c for c in plain)
    plain = plain.replace("%", " percent ")
    return " ".join(re.sub(r"[^0-9a-z\u00b5]+", " ", plain).split())


_BY_PHRASE: dict[str, list[str]] = {}
for _column, _phrases in _SYNONYMS.items():
    for _phrase in _phrases.split("|"):
        _BY_PHRASE.setdefault(_phrase.strip(), []).append(_column)

for _column, _phrases in other_languages.HEADERS.items():
    for _phrase in map(normal, _phrases.split("|")):
        if _column not in _BY_PHRASE.get(_phrase, []):
            _BY_PHRASE.setdefault(_phrase, []).append(_column)

_HOUR, _DAY = other_languages.HOUR, normal(other_languages.DAY.replace("|", " "))
_DAY = _DAY.replace(" ", "|")
_UNIT = re.compile(
    rf"\s+(?:in\s+)?(?:mls? (?:{_HOUR}|{_DAY}|24 ?(?:{_HOUR}))|"
    r"mls?|cc|h|hrs?|hours?|percent|mgs?|ml h|ml hr|ml per hour|"
    r"mls? (?:per )?(?:h|hr|hrs|hour)|mls? (?:per )?(?:24 ?h(?:rs?|ours?)?|day|d)|"
    r"y n|yn|yes no|ml per h|mls? per hour|24h clock|dd mm yyyy|mm dd yyyy|"
    r"dd mm yy|hh mm|g|tick|g number)$"
)


def without_unit(name: str) -> str:
    """Give a normal header without the units it ends in.

    Parameters
    ----------
    name : str
        A header as given by `normal`.

    Returns
    -------
    str
        Without the units at its end.
    """
    while (bare := _UNIT.sub("", name)) != name:
        name = bare
    return name


def is_per_day(header: str) -> bool:
    """Tell whether a header (or a unit) says that a rate is per 24 h.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so.

    Examples
    --------
    >>> is_per_day("Rate (ml/24h)"), is_per_day("mL/24 h"), is_per_day("Rate mL/hr")
    (True, True, False)
    """
    name = normal(header)
    return bool(re.search(r"\b(?:24 ?h(?:rs?|ours?)?|day|daily|d)\b", name)) or bool(
        re.search(rf"\bmls?\b.*\b(?:{_DAY}|24 ?(?:{_HOUR}))\b", name)
    )


def is_per_hour(header: str) -> bool:
    """Tell whether a header (or a unit) says that a rate is per hour.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so, and not 24 h.
    """
    name = normal(header)
    said = re.search(rf"\b(?:h|hr|hrs|hour|hourly)\b|\bmls?\b.*\b(?:{_HOUR})\b", name)
    return said is not None and not is_per_day(header)


def is_travel(header: str) -> bool:
    """Tell whether a header (or a unit) is of millimetres: a travel, not a volume.

    Parameters
    ----------
    header : str
        As it stands in the file, or a unit.

    Returns
    -------
    bool
        True where it says so.
    """
    return bool(re.search(r"\bmms?\b", normal(header)))


#: What is longer is a note, and no header; to look through it takes its length squared.
_LONGEST_HEADER = 300


def candidates(header: str) -> list[Candidate]:
    """Give the columns that a header may name, the surest first.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    list of Candidate
        Empty where it names none, and where it is no header: above 300 characters.

    Examples
    --------
    >>> [c.column for c in candidates("Pump No")], len(candidates("Shoes"))
    (['driver_id'], 0)
    """
    if len(header) > _LONGEST_HEADER:
        return []
    name = normal(header)
    if not name:
        return []
    found = {}
    canonical = "_".join(name.split())
    if canonical in CANONICAL_NAMES:
        found[canonical] = Strength.CANONICAL
    forms = (name, without_unit(name), _singular(name), without_unit(_in_full(name)))
    parted = _parted(header, name)
    for form in dict.fromkeys((*forms, parted, without_unit(parted))):
        for column in _BY_PHRASE.get(form, []):
            found.setdefault(column, Strength.SYNONYM)
    if not found:
        found = _contained(without_unit(name)) or _contained(without_unit(parted))
    return [
        Candidate(column, strength)
        for column, strength in sorted(found.items(), key=lambda item: -item[1])
        if not _is_ruled_out(column, strength, name)
    ]


def named(header: str) -> set[str]:
    """Give the columns that a header may name with all of its words that count.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    set of str
        Without those whose name stands among words of other things.
    """
    return {c.column for c in candidates(header) if c.strength > Strength.PART}


#: Words that make a date another one than that of a check, a start or a change.
_OTHER_DATES = frozenset(
    {"birth", "dob", "expiry", "expires", "exp", "batch", "admission", "admitted",
     "discharge", "prescribed", "prescription", "prepared", "next", "due", "expected",
     "planned", "printed", "previous", "last", "referral", "scheduled", "schedule",
     "target", "ordered", "dispensed", "made", "drawn", "death", "died", "export",
     "exported", "report", "reported", "imported", "alarm", "onset"}
)  # fmt: skip
_DATES = frozenset(
    {"checked_at", "recorded_at", "started_at", "ended_at", "inserted_at",
     "removed_at", LINE_CHANGED_ON, SITE_CHANGED_ON, "line_changed", "site_changed"}
)  # fmt: skip
#: Columns that a per cent can stand in; in all others of a number it cannot.
_NO_PERCENT = frozenset(
    {"volume_remaining_ml", "display_remaining_ml", "volume_delivered_ml", "vtbi",
     "start_volume_ml", "made_up_to_ml", "set_rate_ml_h", "planned_duration_h"}
)  # fmt: skip


#: Units in a header that are those of no volume in mL and of no rate in mL.
_OTHER_UNITS = frozenset(
    {"mg", "mgs", "mcg", "ug", "g", "kg", "l", "litre", "litres", "liter", "liters",
     "ul", "microlitre", "microlitres", "microliter", "microliters", "microgram",
     "micrograms", "milligram", "milligrams", "mmol", "iu", "min", "mins", "minute",
     "minutes", "sec", "second", "seconds"}
)  # fmt: skip
#: Words of what was to be, was before, or went another way: no reading of the driver.
_NO_READING = frozenset(
    {"expected", "predicted", "calculated", "theoretical", "estimated", "planned",
     "target", "intended", "ideal", "should", "prescribed", "ordered", "previous",
     "prior", "last", "next", "due", "since", "breakthrough", "bolus", "boost", "prn",
     "rescue", "oral", "flush", "urine", "discarded", "wasted", "waste", "spilt"}
)  # fmt: skip
_READINGS = frozenset(
    {"volume_remaining_ml", "display_remaining_ml", "volume_delivered_ml",
     "set_rate_ml_h"}
)  # fmt: skip
#: Words under which yes means the opposite of what the column asks.
_TURNED = frozenset(
    {"not", "non", "without", "missing", "absent", "unlocked", "unlabelled",
     "unlabeled", "unsecured", "insecure", "stopped", "broken", "failed", "unchanged"}
)  # fmt: skip
_ASKED = frozenset(
    {"running", "lockbox_locked", "label_present", "line_changed", "site_changed"}
)


def _is_ruled_out(column: str, strength: Strength, name: str) -> bool:
    """Tell whether another word of a header says that it is not this column."""
    if strength is Strength.CANONICAL:
        return False
    said = set(name.split())
    if column in _NO_PERCENT and said & {"percent", "pct", "percentage"}:
        return True
    # A travel under a rate is told of (`is_travel`); a length is no volume either.
    if column in _NO_PERCENT - {"set_rate_ml_h"} and said & {"mm", "cm"}:
        return True
    is_span = column == "planned_duration_h" and {"h", "min"} <= said
    if column in _NO_PERCENT and said & _OTHER_UNITS and not is_span:
        return True
    if any(column in _BY_PHRASE.get(n, []) for n in (name, without_unit(name))):
        return False
    return (
        (column in _DATES and bool(said & _OTHER_DATES))
        or (column in _READINGS and bool(said & _NO_READING))
        or (column in _ASKED and (bool(said & _TURNED) or name.startswith("no ")))
    )


#: Letters of the shortest phrase that is known without its blanks.
_SHORTEST_WHOLE = 6

#: Short forms in the names of database columns.
_SHORT = {"dt": "date", "dte": "date", "tm": "time", "dttm": "date time",
          "dtm": "date time", "ts": "timestamp", "nbr": "no", "num": "no"}  # fmt: skip


def _parted(header: str, name: str) -> str:
    """Give the words of a header that are written together: ``VolumeLeft``."""
    if " " in name:
        return name
    parted = normal(re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", header))
    return parted if " " in parted else _WHOLE.get(name, name)


#: Phrases of several words, written together: ``patientid``.
_WHOLE = {
    phrase.replace(" ", ""): phrase
    for phrase in _BY_PHRASE
    if " " in phrase and len(phrase) > _SHORTEST_WHOLE
}


def _in_full(name: str) -> str:
    """Give a header with short forms in full: ``obs dt`` is a date."""
    return " ".join(_SHORT.get(word, word) for word in name.split())


def _singular(name: str) -> str:
    """Give a header without the number or letter it ends in: ``drug 2``, ``drug b``."""
    return without_unit(re.sub(r"\s*\d+$| [a-d]$", "", without_unit(name)))


def _contained(name: str) -> dict[str, Strength]:
    """Give the columns whose longest phrase stands within a header.

    Phrases with harmless words beside them come first; of two as long, the later one,
    where English has the noun that the others are said of.
    """
    words = name.split()
    parts: dict[str, Strength] = {}
    for length in range(len(words), 0, -1):
        safe: list[str] = []
        for start in range(len(words) - length, -1, -1):
            phrase = " ".join(words[start : start + length])
            if len(phrase) <= 2 or phrase not in _BY_PHRASE:
                continue
            rest = " ".join(words[:start] + words[start + length :])
            columns = _BY_PHRASE[phrase]
            safe += [c for c in columns if modifiers.are_harmless(c, rest)]
            parts = parts or dict.fromkeys(columns, Strength.PART)
        if safe:
            return dict.fromkeys(safe, Strength.CONTAINS)
    return parts


def group_number(header: str) -> str:
    """Give the number or the letter a header ends in; empty where it has none.

    Parameters
    ----------
    header : str
        As it stands in the file.

    Returns
    -------
    str
        Digits, or a letter from a to d; empty without.

    Examples
    --------
    >>> group_number("Drug 2"), group_number("Dose2 (mg)"), group_number("Ward")
    ('2', '2', '')
    """
    found = re.search(r"(\d+|\b[a-d])$", without_unit(normal(header)))
    return found.group(1) if found else ""
