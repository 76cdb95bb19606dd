"""Words of a header beside the name of a column: harmless ones, and all others.

``Current rate on pump`` is a rate; ``Respiratory rate`` is another thing. A name within
a header is trusted where every other word only says of what, where, when or by whom it
was charted; any other word may make it something else. Words are trade usage, from
memory (common practice, no source).
"""

import re

_ANY = frozenset(
    {"the", "a", "an", "of", "in", "on", "at", "by", "to", "for", "with", "from", "is",
     "was", "per", "this", "and", "or", "as", "please", "enter", "our",
     "infusion", "infusions", "syringe", "driver", "drivers", "pump", "device", "sd",
     "csci", "sc", "s", "subcut", "subcutaneous", "machine", "equipment",
     "check", "checks", "checked", "checking", "obs", "observation", "observations",
     "observed", "chart", "charted", "charting", "record", "recorded", "round", "visit",
     "monitoring", "flowsheet", "form", "noted", "seen", "shown", "found", "actual",
     "actually", "current", "currently", "now", "value", "val", "result", "reading",
     "display", "displayed", "screen", "scale", "barrel", "amount", "e",
     "ml", "mls", "cc", "mm", "h", "hr", "hrs", "hour", "hours", "hourly", "min",
     "day", "daily", "24", "24h", "24hr", "percent", "pct", "y", "n", "yn", "yes", "no",
     "tick", "nr", "mlhr", "mlh", "mlshr", "mlperhr", "mlday", "ml24h", "mlper24h",
     "unit", "units", "text", "code", "level", "approx",
     "approximate", "confirmed", "correct", "verified", "ok", "okay", "satisfactory",
     "present", "arrival"}
)  # fmt: skip
_SITE = frozenset(
    {"site", "sites", "cannula", "needle", "insertion", "skin", "body", "entry",
     "around", "area", "surrounding"}
)  # fmt: skip
_LINE = frozenset({"line", "extension", "set", "giving", "tubing", "administration"})
_IDENT = frozenset(
    {"id", "number", "num", "ref", "reference", "identifier", "name", "full", "short",
     "serial", "asset", "tag", "hospital", "nhs"}
)  # fmt: skip
_WHEN = frozenset(
    {"date", "time", "datetime", "timestamp", "clock", "local", "done", "taken",
     "made", "performed", "entered", "dd", "mm", "yyyy", "yy", "hh", "ss", "am", "pm",
     "start", "end", "exact", "first", "utc", "gmt", "bst", "assessment", "assessed",
     "nursing"}
)  # fmt: skip
_WHO = frozenset(
    {"nurse", "staff", "rn", "carer", "sign", "signature", "signed", "initial",
     "initials", "name", "full", "print", "printed", "1", "1st", "first",
     "user", "team"}
)  # fmt: skip

_TIMES = frozenset(
    {"checked_at", "recorded_at", "started_at", "ended_at", "inserted_at",
     "removed_at", "line_changed_on", "site_changed_on"}
)  # fmt: skip
_SITES = frozenset(
    {"site_id", "site_signs", "site_score", "site_location", "location", "site_changed",
     "site_changed_on", "material", "gauge"}
)  # fmt: skip
_LINES = frozenset({"line_id", "line_changed", "line_changed_on", "kind"})
_IDENTS = frozenset(
    {"ward", "patient_id", "infusion_id", "driver_id", "line_id", "site_id", "row_id",
     "drug", "item"}
)  # fmt: skip
_STAFF = frozenset({"checked_by", "second_checked_by"})

#: Further words that are harmless beside one column, or one kind of column.
_MORE = (
    (_TIMES, _WHEN | _SITE | _LINE),
    (_SITES, _SITE | {"colour", "color", "look", "appearance", "condition", "state",
                      "status", "comment", "comments", "notes", "description",
                      "desc", "descr",
                      "intact", "new"}),
    (_LINES, _LINE),
    (_IDENTS, _IDENT),
    (_STAFF, _WHO | _SITE),
    ({"second_checked_by"}, frozenset({"2", "2nd", "second"})),
    ({"set_rate_ml_h"}, frozenset({"set", "programmed", "running"})),
    ({"volume_delivered_ml"},
     frozenset({"volume", "vol", "total", "so", "far", "cumulative"})),
    ({"patient_id"}, frozenset({"study", "research", "pseudonym"})),
    ({"volume_remaining_ml", "display_remaining_ml"},
     frozenset({"left", "remaining", "still", "volume", "vol", "solution", "fluid"})),
    ({"running"}, frozenset({"green", "light", "led", "lamp", "flashing"})),
    ({"solution_appearance", "contents", "diluent"},
     frozenset({"drug", "drugs", "mixture", "solution", "fluid", "contents"})),
    ({"battery_pct"}, frozenset({"battery", "charge", "power", "life", "remaining",
                                 "left", "status"})),
    ({"ward"}, frozenset({"hospital", "community", "clinical", "nursing", "patient",
                          "patients"})),
    ({"solution_appearance"},
     frozenset({"clear", "cloudy", "clarity", "crystals", "colour", "color", "look",
                "appearance", "precipitate"})),
    ({"lockbox_locked"}, frozenset({"box", "lockbox", "lock", "case", "cover", "key",
                                    "intact", "secure", "closed", "shut"})),
    ({"label_present"}, frozenset({"label", "additive", "legible", "place"})),
    ({"removal_reason", "inserted_at", "removed_at"}, _SITE | _LINE),
    ({"entry"}, frozenset({"type", "event", "description", "name", "start", "end"})),
)  # fmt: skip

#: Words of other things that are charted, which a name then belongs to.
_ELSEWHERE = frozenset(
    {"respiratory", "resp", "respiration", "respirations", "breathing", "heart",
     "pulse", "o2", "oxygen", "air", "ventilator", "nebuliser", "feed", "feeding",
     "enteral", "tpn", "ng", "peg", "gastric", "fluids", "iv", "intravenous", "drip",
     "pca", "epidural", "urine", "urinary", "catheter", "sputum", "stool", "bowel",
     "vomit", "drain", "stoma", "wound", "pressure", "heel", "heels", "sacrum",
     "sacral", "pain", "mattress", "bed", "chair", "hoist", "cot", "mouth", "eye",
     "eyes",
     "blood", "glucose", "sugar", "bp", "temperature", "weight",
     "previous", "old", "last", "next", "former", "prior", "other", "another"}
)  # fmt: skip

_AT_CHECK = re.compile(
    r"\b(?:at|on)(?: the)?(?: time of)?(?: this| each| every)? "
    r"(?:check|checking|visit|round|reading|observation|obs)\b"
)

#: The number of a check, of those that stand side by side in a row.
_NUMBERED = re.compile(r"\b(?:check|visit|round|obs|observation|reading) \d{1,2}\b")


def are_harmless(column: str, rest: str) -> bool:
    """Tell whether the other words of a header leave it the column that it names.

    Parameters
    ----------
    column : str
        A column that a part of the header names.
    rest : str
        The other words of the header, as `synonyms.normal` gives them.

    Returns
    -------
    bool
        False where any of them may make it another thing.

    Examples
    --------
    >>> are_harmless("set_rate_ml_h", "current on pump"), are_harmless("ward", "phone")
    (True, False)
    """
    said = set(_NUMBERED.sub(" ", _AT_CHECK.sub(" ", rest)).split()) - _ANY
    if column == "note":
        return not said & _ELSEWHERE
    for columns, words in _MORE:
        if column in columns:
            said -= words
    return not said


def are_of_another(rest: str) -> bool:
    """Tell whether the other words of a header name another thing that is charted.

    Parameters
    ----------
    rest : str
        The other words of the header, as `synonyms.normal` gives them.

    Returns
    -------
    bool
        True for a word such as urine, wound or heart.

    Examples
    --------
    >>> are_of_another("respiratory"), are_of_another("afternoon")
    (True, False)
    """
    return bool(set(rest.split()) & _ELSEWHERE)


def name_an_id(name: str) -> bool:
    """Tell whether a header says that it holds a number or a code.

    Parameters
    ----------
    name : str
        A header as given by `synonyms.normal`.

    Returns
    -------
    bool
        True where it says so.
    """
    return bool(set(name.split()) & {"id", "no", "number", "num", "ref", "code",
                                     "serial", "asset", "barcode"})  # fmt: skip
