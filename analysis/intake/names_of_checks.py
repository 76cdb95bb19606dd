"""Headers of what is read and looked at in a check.

Of each column of `synonyms` the names it goes by, in the form that `normal` gives.
Words are trade usage, from memory (common practice, no source).
"""

#: Names by column, parted by ``|``.
HEADERS = {
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
    "set_rate_ml_h": "rate|infusion rate|rate ml hr|rate ml h|ml hr|ml h|mls hr|"
    "mls hour|ml per hour|flow|flow rate|rate set|set rate|programmed rate|"
    "rate on display|displayed rate|current rate|running rate|delivery rate|pump rate|"
    "driver rate|speed|hourly rate|rate checked|rate 24h|ml 24h|ml 24 hr|mls 24 hours|"
    "ml day|daily rate|24 hour rate|rate per day|volume per 24 h|rate per hour|"
    "rate shown|running at|rate running at|rate now|set at|rate charted|rate ml 24h|"
    "rate per 24h|rate per 24 hours|rate set on driver|driver ml h|driver ml hr|"
    "pump ml h|pump ml hr|syringe ml h|syringe ml hr|driver mls hr|driver rate|"
    "ml 24 h|mls 24 h|mls 24h|mls 24 hr|mls 24 hrs|ml 24 hrs|ml 24 hours|ml per 24 h|"
    "ml per 24 hours|mls per 24 hours|ml per day|mls per day|mls day|24h rate|"
    "rt ml h|rt ml hr|rt ml 24h|inf rt|set rt",
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
}
