"""Headers of lines and sites: what they are, where, and when they were changed.

Of each column of `synonyms` the names it goes by, in the form that `normal` gives.
Words are trade usage, from memory (common practice, no source).
"""

#: Names by column, parted by ``|``.
HEADERS = {
    "site_location": "site location|location of site|body site|position|placement|"
    "where sited|area used|limb|anatomical site|insertion location|site position|"
    "cannula position|sited at|location on body|place|site place|new place|site|"
    "location|body location|where|cannula location|site area|infusion site|sited|"
    "position of site|place of site|place on body|insertion site",
    "site_changed": "site changed|site change|resited|re sited|site rotated|new site|"
    "cannula changed|needle changed|cannula resited|site resited|site moved",
    "site_changed_on": "site date|date of site change|resite date|new site date|"
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
    "line_changed_on": "line change date|line date|date line changed|"
    "line in since|line inserted|line start|extension set date|extension date|"
    "giving set date|set change date|tubing date|infusion set date|admin set date|"
    "line changed on|line changed|extension changed on|"
    "extension changed|set changed on|date set changed|line renewed on|"
    "giving set changed"
    "|tubing changed|line change|set changed|tubing changed on|line fitted on|"
    "extension line changed on|extension line changed|date extension changed|"
    "extension set changed|extension set changed on|line fitted|extension fitted|"
    "date of line change|line changed date|current line since|extension in since",
    "why_changed": "why changed|reason changed|reason for change|change reason|why|"
    "reason",
    "material": "material|cannula material|cannula type|needle type|cannula|needle|"
    "type of cannula",
    "gauge": "gauge|cannula gauge|cannula size|needle size|needle gauge|size",
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
}
